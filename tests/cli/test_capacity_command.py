"""The command about room, as its user types it, on a small field with a night behind it."""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner, Result

from nightgauge.cli.app import application
from nightgauge.cli.capacity_commands import well_of
from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.capacity import ask
from nightgauge.pipeline.reading import read_exports
from nightgauge.store import Store
from nightgauge.vocabulary.frames import WELL_TESTS

FIRST = datetime(2026, 5, 1, tzinfo=UTC)


def invoke(*arguments: object) -> Result:
    words = [str(argument) for argument in arguments]
    return CliRunner().invoke(application(words), words)


def now() -> datetime:
    return datetime.now(UTC)


@pytest.fixture
def judged(make_field: Callable[..., Path], judge: Callable[[Path, int], Field]) -> Path:
    return judge(make_field(3), 3).path


def test_all_vessels_are_told_by_the_limit_they_use_most(judged: Path) -> None:
    output = invoke("capacity", judged).output
    lines = output.splitlines()
    assert lines[0].split() == ["vessel", "binding", "limit", "capacity", "load", "(high)", "room", "unit", "used", "%"]
    assert lines[1].split()[:3] == ["TK-1", "water", "retention"]
    assert "no load or no limit is known of TK-2" in output
    assert "relief valves are never changed to suit it." in " ".join(output.split())


def test_one_vessel_is_told_limit_by_limit_in_every_form(judged: Path) -> None:
    as_json = json.loads(invoke("capacity", judged, "TK-1", "--format", "json").output)
    as_csv = list(csv.DictReader(io.StringIO(invoke("capacity", judged, "TK-1", "--format", "csv").output)))
    assert [row["limit"] for row in as_json] == [row["limit"] for row in as_csv]
    # A dump of 180 s every 1800 s whose meter says how much: the load of the table is that of vessel_day.
    with Store(read_field(judged).database).reading() as reader:
        days = reader.days(FIRST, FIRST + timedelta(days=3))
    median = days.filter(days["vessel"] == "TK-1")["water_load_m3_per_day"].median()
    (water,) = [row for row in as_json if row["limit"] == "water retention"]
    assert water["median"] == pytest.approx(median, abs=0.06)  # told to a tenth
    assert water["unit"] == "m3/day"


def test_what_if_stands_beside_what_is(judged: Path) -> None:
    asked = ["--water-rate", "900 m^3/day", "--interface", "1.2 m", "--add-well", "100 m^3/day water, 0 m^3/day oil"]
    rows = json.loads(invoke("capacity", judged, "TK-1", *asked, "--format", "json").output)
    before, after = (
        next(row for row in rows if row["case"] == case and row["limit"] == "water retention")
        for case in ("now", "what if")
    )
    assert after["high"] == pytest.approx(1000.0)
    assert after["capacity"] > before["capacity"]


def test_people_read_how_limits_were_reckoned_and_what_the_change_comes_to(judged: Path) -> None:
    output = invoke("capacity", judged, "TK-1", "--interface", "1.3 m", "--pressure", "200 kPag").output
    now, how, asked, comes_to = (
        output.index(head) for head in ("TK-1 now", "how each was reckoned", "what if", "what it comes to")
    )
    assert now < how < asked < comes_to
    assert "- water dump: needs cv of the water dump" in output
    assert "- Every well that flows to it would have" in output[comes_to:]
    assert "max_working_pressure is not in field.toml" in " ".join(output.split())
    assert all(len(line) <= 120 for line in output.splitlines())


@pytest.mark.parametrize(
    ("stated", "water", "oil"),
    [("50 m^3/day water, 7 m^3/day oil", 50.0, 7.0), ("7 m^3/day oil", 0.0, 7.0), ("50 m^3/day water", 50.0, 0.0)],
)
def test_a_well_may_be_stated_by_either_liquid_or_both(judged: Path, stated: str, water: float, oil: float) -> None:
    asked = ["--water-rate", "900 m^3/day", "--oil-rate", "100 m^3/day", "--add-well", stated]
    rows = json.loads(invoke("capacity", judged, "TK-1", *asked, "--format", "json").output)
    high = {row["limit"]: row["high"] for row in rows if row["case"] == "what if"}
    assert (high["water retention"], high["oil retention"]) == (
        pytest.approx(900.0 + water),
        pytest.approx(100.0 + oil),
    )


def test_a_well_is_added_by_its_latest_accepted_test(judged: Path) -> None:
    first, later, rejected = (
        WELL_TESTS.build(
            {
                "well": ["W-1"], "vessel": ["TT"], "start_utc": [FIRST + timedelta(hours=hour)], "state": [state],
                "water_m3_per_day": [water], "oil_m3_per_day": [3.0],
            }
        )
        for hour, state, water in ((1, "accepted", 20.0), (9, "accepted", 31.0), (20, "rejected", 99.0))
    )  # fmt: skip
    field = read_field(judged)
    known = replace(ask(field, Store(field.database), field.vessels[0]), tests=pl.concat([later, rejected, first]))
    added = well_of("W-1", known)
    assert (added.name, added.water_m3_per_day, added.oil_m3_per_day) == ("W-1", 31.0, 3.0)
    assert added.tested_utc == FIRST + timedelta(hours=9)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("TK-9",), "vessel 'TK-9' is not in .* it has TK-1"),
        (("TK-1", "--interface", "46"), "--interface: '46' has no unit"),
        (("TK-1", "--water-rate=-5 m^3/day",), "--water-rate: .* is below 0"),
        (("TK-1", "--add-well", "W-77"), "--add-well: 'W-77' is no well of field.toml.* or say what it brings"),
        (("TK-1", "--interface", "9 m"), "does not lie between the bottom"),
        (("--pressure", "50 psig"), "a what-if is asked of one vessel; name it"),
    ],
)  # fmt: skip
def test_what_cannot_be_answered_says_what_to_ask(judged: Path, arguments: tuple[str, ...], said: str) -> None:
    result = invoke("capacity", judged, *arguments)
    assert isinstance(result.exception, SettingError)
    with pytest.raises(SettingError, match=said):
        raise result.exception


def test_without_a_night_there_is_no_load(make_field: Callable[..., Path]) -> None:
    toml = make_field(3)
    read_exports(read_field(toml), Store(read_field(toml).database), now)
    with pytest.raises(SettingError, match="run the nightly flow first"):
        raise invoke("capacity", toml).exception or AssertionError("no error")
