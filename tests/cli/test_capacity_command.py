"""The command about room, as its user types it, on a small field with a night behind it."""

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from nightgauge.cli.app import application
from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightgauge.pipeline.nights import run_night
from nightgauge.pipeline.reading import read_exports
from nightgauge.store import Store

FIRST = datetime(2026, 5, 1, tzinfo=UTC)


def invoke(*arguments: object) -> Result:
    words = [str(argument) for argument in arguments]
    return CliRunner().invoke(application(words), words)


def now() -> datetime:
    return datetime.now(UTC)


@pytest.fixture
def judged(make_field: Callable[..., Path]) -> Path:
    toml = make_field(3)
    field = read_field(toml)
    store = Store(field.database)
    read_exports(field, store, now)
    run_night(field, store, FIRST + timedelta(days=3), now)
    return toml


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
