"""Exports as they really come: split anywhere, late, out of order, twice, overlapping. One history, one database."""

import gzip
import io
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline import reading
from nightgauge.pipeline.nights import nights_due, run_night
from nightgauge.store import Store

FIRST = datetime(2026, 5, 1, tzinfo=UTC)
DAY = timedelta(days=1)
FAR = datetime(2030, 1, 1, tzinfo=UTC)
MakeField = Callable[..., Path]
DayFile = Callable[[Path, int], Path]

FIELD_TOML = """
name = "Small"
time_zone = "UTC"
tags = "tags.csv"
streams = ["*.export"]
[[vessel]]
id = "V-1"
service = "separator"
[[vessel]]
id = "V-2"
service = "separator"
"""
TAGS_CSV = (
    "tag,vessel,signal,unit\nPT,V-1,vessel_pressure,psig\nLT,V-1,interface_level,in\nPT2,V-2,vessel_pressure,kPag\n"
)
Sample = tuple[str, int, float]
"""tag, minute, value."""


def clock() -> datetime:
    return datetime(2026, 11, 1, tzinfo=UTC)


def tall(samples: list[Sample]) -> pl.DataFrame:
    stamps = [FIRST + timedelta(minutes=minute) for _, minute, _ in samples]
    columns = {"tag": [tag for tag, _, _ in samples], "time": stamps, "value": [value for _, _, value in samples]}
    return pl.DataFrame(columns, schema={"tag": pl.String, "time": pl.Datetime("us", "UTC"), "value": pl.Float64})


def as_text(samples: list[Sample]) -> bytes:
    return tall(samples).write_csv(datetime_format="%Y-%m-%dT%H:%M:%SZ").encode()


def as_parquet(samples: list[Sample]) -> bytes:
    out = io.BytesIO()
    tall(samples).write_parquet(out)
    return out.getvalue()


def as_wide(samples: list[Sample]) -> bytes:
    grid = tall(samples).pivot("tag", index="time", values="value")
    return grid.write_csv(datetime_format="%Y-%m-%dT%H:%M:%SZ", separator=";").encode()


FORMS = st.sampled_from([as_text, as_wide, as_parquet, lambda samples: gzip.compress(as_text(samples), mtime=0)])
HISTORY = st.dictionaries(
    st.tuples(st.sampled_from(["PT", "LT", "PT2"]), st.integers(0, 4000)),
    st.sampled_from([1.0, 2.5, 40.0]),
    min_size=1,
    max_size=25,
).map(lambda said: [(tag, minute, value) for (tag, minute), value in said.items()])


@st.composite
def deliveries(draw: st.DrawFn) -> tuple[list[Sample], list[list[bytes]]]:
    """Draw a history, and the contents of its exports run by run: any cut, order, overlap and form, some twice."""
    history = draw(HISTORY)
    parts = draw(st.lists(st.lists(st.sampled_from(history), min_size=1, unique=True), max_size=4))
    missing = [sample for sample in history if not any(sample in part for part in parts)]
    parts += [missing] if missing else []
    files = [draw(FORMS)(part) for part in parts]
    files += draw(st.lists(st.sampled_from(files), max_size=2))
    files = draw(st.permutations(files))
    cut = draw(st.integers(0, len(files)))
    return history, [list(files[:cut]), list(files[cut:])]


def small_field(folder: Path) -> Field:
    folder.mkdir()
    (folder / "field.toml").write_text(FIELD_TOML)
    (folder / "tags.csv").write_text(TAGS_CSV)
    return read_field(folder / "field.toml")


def stored(field: Field) -> pl.DataFrame:
    with Store(field.database).reading() as reader:
        vessels = [
            reader.vessel_samples(vessel.id, FIRST - DAY, FAR).with_columns(vessel=pl.lit(vessel.id))
            for vessel in field.vessels
        ]
    return pl.concat(vessels)


@settings(deadline=None, max_examples=8)
@given(deliveries())
def test_any_cut_order_overlap_and_form_leaves_the_same_samples_and_counts_each_row_once(
    delivered: tuple[list[Sample], list[list[bytes]]],
) -> None:
    history, runs = delivered
    with tempfile.TemporaryDirectory() as made:
        whole, parts = small_field(Path(made) / "whole"), small_field(Path(made) / "parts")
        (whole.folder / "all.export").write_bytes(as_text(history))
        reading.read_exports(whole, Store(whole.database), clock)
        number = 0
        for run in runs:
            for content in run:
                number += 1
                (parts.folder / f"{number:02d}.export").write_bytes(content)
            reading.read_exports(parts, Store(parts.database), clock)
        assert_frame_equal(stored(parts), stored(whole), check_exact=True)
        assert stored(parts).height == len(history)
        with Store(parts.database).reading() as reader:
            ledger, kept_out = reader.source_files(), reader.quarantine()
    sums = ["rows_stored", "rows_repeated", "rows_replaced", "rows_quarantined"]
    assert (ledger["rows_read"] == ledger.select(pl.sum_horizontal(sums)).to_series()).all()
    assert ledger.height == number
    assert ledger["rows_stored"].sum() == len(history)
    assert ledger["rows_replaced"].sum() == kept_out.height == 0
    contents = [content for run in runs for content in run]
    assert (ledger["state"] == "duplicate").sum() == len(contents) - len(set(contents))


ARRIVALS = st.lists(st.integers(2, 5), min_size=5, max_size=5)
"""For each of five days the night on which its export has come."""


@settings(deadline=None, max_examples=3, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(arrivals=ARRIVALS)
def test_nights_with_exports_that_come_whenever_end_with_the_rows_of_one_night(
    make_field: MakeField, day_file: DayFile, tmp_path_factory: pytest.TempPathFactory, arrivals: list[int]
) -> None:
    folder = tmp_path_factory.mktemp("late")
    toml = make_field(5, name=f"field{folder.name}")
    whole = read_field(toml)
    at_once = replace(whole, database=folder / "once.duckdb")
    late = replace(whole, database=folder / "late.duckdb")
    reading.read_exports(at_once, Store(at_once.database), clock)
    for due in nights_due(at_once, Store(at_once.database), FIRST + 5 * DAY):
        run_night(at_once, Store(at_once.database), due, clock)
    away = {day: day_file(toml, day).rename(folder / f"{day}.csv") for day in range(5)}
    for night in range(2, 6):
        for day in [day for day in away if arrivals[day] <= night]:
            away.pop(day).rename(day_file(toml, day))
        reading.read_exports(late, Store(late.database), clock)
        for due in nights_due(late, Store(late.database), FIRST + night * DAY):
            run_night(late, Store(late.database), due, clock)
    for vessel in ("TK-1", "TK-2"):
        with Store(at_once.database).reading() as one, Store(late.database).reading() as other:
            first, second = one.derived(vessel, None, FAR), other.derived(vessel, None, FAR)
        for name in ("cycles", "hours", "days", "signal_hours"):
            assert_frame_equal(getattr(first, name), getattr(second, name), check_exact=True)


def test_a_day_with_a_clock_an_hour_ahead_and_its_correction_leave_the_true_day(
    make_field: MakeField, day_file: DayFile
) -> None:
    """On one grid the next day's export and the correction speak of every wrong time: nothing of it stays."""
    toml = make_field(4)
    field = read_field(toml)
    store = Store(field.database)
    true_day = day_file(toml, 1).read_text()
    shifted = pl.read_csv(day_file(toml, 1), try_parse_dates=True).with_columns(pl.col("timestamp").dt.offset_by("1h"))
    shifted.write_csv(day_file(toml, 1), datetime_format="%Y-%m-%dT%H:%M:%SZ")
    reading.read_exports(field, store, clock)
    wrong = stored(field)
    with store.reading() as reader:  # the ledger tells that the third day spoke otherwise of an hour that was there
        overwrote = dict(reader.source_files().select("path", "rows_overwrote").rows())
    assert [count > 0 for _, count in sorted(overwrote.items())] == [False, False, True, False]
    day_file(toml, 1).write_text(true_day)
    reading.read_exports(field, store, clock)
    other = read_field(make_field(4, name="other"))
    reading.read_exports(other, Store(other.database), clock)
    assert_frame_equal(stored(field), stored(other), check_exact=True)
    assert not wrong.equals(stored(other))
