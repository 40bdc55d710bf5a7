"""What nights reckon besides findings: the same whether told at once or night by night, and kept with the night."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline import nights as nights_module
from nightgauge.pipeline import reading, reckoning
from nightgauge.pipeline.nights import run_night
from nightgauge.store import Store
from nightgauge.vocabulary.frames import ANODES, BACK_PRESSURE, CARRYOVER, VESSEL_CAPACITY, Frame

FIRST = datetime(2026, 5, 1, tzinfo=UTC)
DAY = timedelta(days=1)
WELLS = """
[[well]]
id = "W-1"
vessel = "TK-1"
productivity_index = "1.5 m3/day/kPa"
[[anode]]
id = "A"
vessel = "TK-1"
material = "zinc"
mass = "10 kg"
installed = "2026-04-01"
tag = "AI-1"
"""


def clock() -> datetime:
    return datetime(2026, 11, 1, tzinfo=UTC)


@pytest.fixture
def field(make_field: Callable[..., Path]) -> Field:
    toml = make_field(4)
    toml.write_text(toml.read_text() + WELLS)
    tags = toml.parent / "tags.csv"
    tags.write_text(tags.read_text() + "AI-1,TK-1,anode_current,A\n")
    times = [FIRST + timedelta(hours=hour / 2) for hour in range(4 * 48)]
    pl.DataFrame({"tag": "AI-1", "time": [time.isoformat() for time in times], "value": 0.2}).write_csv(
        toml.parent / "streams" / "anode.csv"
    )
    return read_field(toml)


def tables(field: Field) -> dict[str, pl.DataFrame]:
    with Store(field.database).reading() as reader:
        return {frame.name: reader.reckoned(frame) for frame in (VESSEL_CAPACITY, BACK_PRESSURE, CARRYOVER, ANODES)}


def nights(field: Field, *ends: int) -> dict[str, pl.DataFrame]:
    store = Store(field.database)
    reading.read_exports(field, store, clock)
    for end in ends:
        run_night(field, store, FIRST + end * DAY, clock)
    return tables(field)


def test_nights_in_turn_reckon_what_one_night_does(field: Field) -> None:
    at_once = nights(field, 4)
    field.database.unlink()
    in_turn = nights(field, 2, 3, 4)
    for name, table in at_once.items():
        assert table.height > 0, name
        assert_frame_equal(table, in_turn[name], check_exact=True)


def test_days_before_those_a_night_reckons_stay_as_they_were(field: Field, monkeypatch: pytest.MonkeyPatch) -> None:
    nights(field, 3)
    monkeypatch.setattr(reckoning, "PAST", timedelta(hours=1))
    with Store(field.database).writing() as writer:
        old = writer.reckoned(BACK_PRESSURE).with_columns(held_kpag=pl.lit(1.0))
        writer.save_reckoned(BACK_PRESSURE, old)
    run_night(field, Store(field.database), FIRST + 4 * DAY, clock)
    kept = tables(field)["back_pressure"].filter(pl.col("vessel") == "TK-1").select("day", "held_kpag")
    by_day = dict(kept.iter_rows())
    assert by_day[date(2026, 5, 1)] == 1.0
    assert by_day[date(2026, 5, 4)] != 1.0
    assert len(by_day) == 4


def test_a_vessel_that_cannot_be_reckoned_costs_the_others_nothing(
    field: Field, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(vessel: object, *rest: object) -> pl.DataFrame:
        if getattr(vessel, "id", "") == "TK-2":
            raise ValueError("the vessel is odd")
        return _capacities(vessel, *rest)  # type: ignore[arg-type]

    _capacities = reckoning.capacities
    monkeypatch.setattr(reckoning, "capacities", fail)
    store = Store(field.database)
    reading.read_exports(field, store, clock)
    report = run_night(field, store, FIRST + 4 * DAY, clock)
    assert report.failed == {"TK-2": "ValueError: the vessel is odd"}
    assert set(tables(field)["vessel_capacity"]["vessel"]) == {"TK-1"}


@pytest.mark.parametrize("frame", [VESSEL_CAPACITY, ANODES], ids=lambda frame: frame.name)
def test_what_is_told_as_of_a_night_is_told_of_the_last_one_only(field: Field, frame: Frame) -> None:
    table = nights(field, 3, 4)[frame.name]
    assert set(table["until_utc"]) == {FIRST + 4 * DAY}


def test_what_a_killed_night_derived_anew_is_reckoned_by_the_next(
    field: Field, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reckoning, "PAST", timedelta(hours=1))
    nights(field, 3)
    before = tables(field)["back_pressure"]
    first_day = field.folder / "streams" / f"{FIRST.date().isoformat()}.csv"
    shifted = pl.when(pl.col("tag") == "PT-1").then(pl.col("value") + 40.0).otherwise(pl.col("value"))
    pl.read_csv(first_day).with_columns(value=shifted).write_csv(first_day.with_name("correction.csv"))
    with monkeypatch.context() as patched:

        class Killed(BaseException):
            """Stands for the end of the process: nothing of the night runs after it."""

        def killed(*_: object) -> None:
            raise Killed

        patched.setattr(nights_module, "reckon", killed)
        with pytest.raises(Killed):
            nights(field, 4)
    after = nights(field, 4)["back_pressure"]
    held = [
        frame.filter(pl.col("vessel") == "TK-1", pl.col("day") == FIRST.date())["held_kpag"]
        for frame in (before, after)
    ]
    assert held[1].item() - held[0].item() == pytest.approx(40.0, abs=0.01)
