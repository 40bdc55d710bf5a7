"""Rows parted by vessel against a naive twin: each vessel's rows picked out and sorted by themselves."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from nightgauge.store import Writer
from nightgauge.store.parting import parted_by_vessel
from nightgauge.vocabulary import frames
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import SIGNAL_HOURS, Frame

T0 = datetime(2026, 3, 1, tzinfo=UTC)
VESSELS = ("V-9", "V-10", "å")
NAMES = {"cycles": "DUMP_CYCLES", "hours": "VESSEL_HOURS", "days": "VESSEL_DAYS", "signal_hours": "SIGNAL_HOURS"}
KEYS = st.tuples(st.sampled_from(VESSELS[:2]), st.sampled_from(["b", "a:2", "a"]), st.integers(0, 30))


@settings(deadline=None)  # the machine's load is no property of the code
@given(st.lists(KEYS, unique=True, max_size=40))
def test_each_vessel_gets_its_rows_in_the_frames_order(keys: list[tuple[str, str, int]]) -> None:
    rows = pl.DataFrame(
        {
            "vessel": [vessel for vessel, _, _ in keys],
            "signal": [signal for _, signal, _ in keys],
            "hour_utc": [T0 + timedelta(hours=hour) for _, _, hour in keys],
            "mean": [float(number) for number in range(len(keys))],
        },
        schema={name: SIGNAL_HOURS.schema[name] for name in ("vessel", "signal", "hour_utc", "mean")},
    )
    found = parted_by_vessel(rows, SIGNAL_HOURS, VESSELS, ["vessel", "mean"])
    assert list(found) == list(VESSELS)
    for vessel, part in found.items():
        naive = SIGNAL_HOURS.build(rows.filter(pl.col("vessel") == vessel)).select(rows.columns)
        assert_frame_equal(part, naive)


def rows_of(vessel: str, frame: Frame, make: Any) -> pl.DataFrame:
    """Return six rows of a vessel, the latest first."""
    times = [make.at(60.0 * n) for n in range(5, -1, -1)]
    begins = {
        "DUMP_CYCLES": {"opened_utc": times},
        "VESSEL_HOURS": {"hour_utc": times},
        "VESSEL_DAYS": {"day": [date(2026, 3, 9) - timedelta(days=n) for n in range(6)]},
        "SIGNAL_HOURS": {"signal": ["b", "a"] * 3, "hour_utc": times},
    }
    name = next(name for name in begins if getattr(frames, name) is frame)
    return frame.build({"vessel": [vessel] * 6, **begins[name]})


@pytest.fixture
def filled(writer: Writer, make: Any) -> Writer:
    """Return a database with derived rows of two vessels."""
    start, end = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
    for vessel in ("V-2", "V-1"):
        nothing = writer.derived(vessel, None, make.at(0))
        built = {name: rows_of(vessel, getattr(frames, frame), make) for name, frame in NAMES.items()}
        writer.replace_derived(vessel, start, end, Derived(**{**vars(nothing), **built}))
    return writer


def test_vessels_read_together_have_the_rows_of_vessels_read_alone(filled: Writer, make: Any) -> None:
    until = make.at(240.0)
    found = filled.derived_of(["V-1", "V-3", "V-2"], None, until)
    assert found["V-3"].hours.equals(frames.VESSEL_HOURS.empty())
    for vessel in ("V-1", "V-2"):
        alone = rows_of(vessel, frames.SIGNAL_HOURS, make).filter(pl.col("hour_utc") < until)
        assert_frame_equal(found[vessel].signal_hours, alone)
        assert_frame_equal(found[vessel].cycles, filled.cycles(vessel, make.at(0), until))
        assert found[vessel].days["day"].is_sorted()
        for name, rows in vars(filled.derived(vessel, None, until)).items():
            assert_frame_equal(getattr(found[vessel], name), rows)


def test_only_the_columns_asked_for_are_read(filled: Writer, make: Any) -> None:
    found = filled.derived_of(
        ["V-1"], None, make.at(240.0), {"signal_hours": ["mean"], "hours": ["vessel", "coverage"]}
    )
    assert found["V-1"].signal_hours.columns == ["signal", "hour_utc", "mean"]
    assert found["V-1"].hours.columns == ["vessel", "hour_utc", "coverage"]
    assert found["V-1"].hours.height == 4
    assert found["V-1"].cycles.is_empty()


def test_no_vessel_has_no_rows(filled: Writer, make: Any) -> None:
    assert filled.derived_of([], None, make.at(240.0)) == {}
    assert filled.days_of([], make.at(9_000_000.0)).is_empty()
