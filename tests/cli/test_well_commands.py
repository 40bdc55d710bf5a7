"""The command about wells, as its user types it, on a small field with a night and planted tests behind it."""

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from nightgauge.cli.app import application
from nightgauge.derive import Derived
from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.reading import read_exports
from nightgauge.store import Store
from nightgauge.vocabulary.frames import DUMP_CYCLES, SIGNAL_HOURS, VESSEL_DAYS, VESSEL_HOURS, WELL_TESTS

FIRST = datetime(2026, 5, 1, tzinfo=UTC)
WELLS = """
[[well]]
id = "W-1"
vessel = "TK-1"
[[well]]
id = "W-2"
vessel = "TK-1"
"""
# Hours after the first, well, water and oil [m3/day], state, reason.
TESTS = [
    (0, "W-1", 100.0, 20.0, "accepted", None),
    (10, "W-1", 110.0, 22.0, "accepted", None),
    (20, "W-1", 90.0, 18.0, "accepted", None),
    (30, "W-1", 50.0, 10.0, "accepted", None),
    (40, "W-1", 70.0, 10.0, "rejected", "water not steady"),
]


def invoke(*arguments: object) -> Result:
    words = [str(argument) for argument in arguments]
    return CliRunner().invoke(application(words), words)


def now() -> datetime:
    return datetime.now(UTC)


@pytest.fixture
def judged(make_field: Callable[..., Path], judge: Callable[[Path, int], Field]) -> Path:
    toml = make_field(3)
    toml.write_text(toml.read_text() + WELLS)
    store = Store(judge(toml, 3).database)
    rows = [
        {
            "well": well, "vessel": "TK-2", "start_utc": FIRST + timedelta(hours=at),
            "end_utc": FIRST + timedelta(hours=at + 9), "water_m3_per_day": water, "oil_m3_per_day": oil,
            "water_cut_fraction": water / (water + oil), "state": state, "reason": reason,
            "water_uncertainty_m3_per_day": 3.0, "oil_uncertainty_m3_per_day": 4.0,
        }
        for at, well, water, oil, state, reason in TESTS
    ]  # fmt: skip
    tests = WELL_TESTS.build({name: [row[name] for row in rows] for name in rows[0]})
    empty = (frame.empty() for frame in (DUMP_CYCLES, VESSEL_HOURS, VESSEL_DAYS, SIGNAL_HOURS))
    with store.writing() as writer:
        writer.replace_derived("TK-2", FIRST, FIRST + timedelta(days=3), Derived(*empty, tests))
    return toml


def test_a_well_is_told_by_its_last_accepted_test_and_what_failed(judged: Path) -> None:
    output = invoke("wells", judged).output
    line = next(line for line in output.splitlines() if line.startswith("W-1"))
    assert "50 ± 3" in line
    assert "10 ± 4" in line
    assert "no test is known of W-2" in output
    assert "water not steady" in output


def test_json_and_csv_give_the_same_numbers_in_the_fields_units(judged: Path) -> None:
    as_json = json.loads(invoke("wells", judged, "--format", "json").output)
    as_csv = list(csv.DictReader(io.StringIO(invoke("wells", judged, "--format", "csv").output)))
    assert [row["well"] for row in as_json] == [row["well"] for row in as_csv] == ["W-1", "W-2"]
    first = as_json[0]
    assert (first["water"], first["oil"], first["liquid"], first["unit"]) == (50.0, 10.0, 60.0, "m3/day")
    assert first["liquid ±"] == 5.0  # 3 and 4, independent
    # 60 against the geometric mean of 120, 132, 108.
    assert first["change %"] == pytest.approx(100 * (60 / (120 * 132 * 108) ** (1 / 3) - 1), abs=0.05)
    assert (first["accepted"], first["failed"], first["why"]) == (4, 1, "water not steady")


def test_tests_added_up_stand_beside_the_vessels_load(judged: Path) -> None:
    output = invoke("wells", judged).output
    with Store(read_field(judged).database).reading() as reader:
        days = reader.days(FIRST, FIRST + timedelta(days=3))
    load = days.filter(days["vessel"] == "TK-1")["water_load_m3_per_day"].median()
    assert isinstance(load, float)
    line = next(line for line in output.splitlines() if line.startswith("TK-1") and " water " in line)
    assert line.split()[-1] == f"{round(50.0 / load, 2):.4g}"
    assert "W-2" in line


def test_one_well_is_told_alone_and_an_unknown_one_names_the_nearest(judged: Path) -> None:
    assert "TK-1" not in invoke("wells", judged, "--well", "W-1").output
    with pytest.raises(SettingError, match="no well 'W-11': did you mean W-1"):
        raise invoke("wells", judged, "--well", "W-11").exception or AssertionError("no error")


def test_without_a_night_no_test_is_known(make_field: Callable[..., Path]) -> None:
    toml = make_field(3)
    read_exports(read_field(toml), Store(read_field(toml).database), now)
    with pytest.raises(SettingError, match="run the nightly flow first") as raised:
        raise invoke("wells", toml).exception or AssertionError("no error")
    assert raised.value.exit_code == 2
