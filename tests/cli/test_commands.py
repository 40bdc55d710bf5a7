"""Every command read as its user: what it prints, what it refuses, how it ends."""

import csv
import io
import json
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from nightgauge.cli.app import HOMES, application
from nightgauge.errors import NightgaugeError, NoGoodNight, SettingError, StoreMissing
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.store import Store

FIRST = datetime(2026, 5, 1, tzinfo=UTC)


def invoke(*arguments: object) -> Result:
    words = [str(argument) for argument in arguments]
    return CliRunner().invoke(application(words), words)


@pytest.fixture
def judged(make_field: Callable[..., Path], judge: Callable[[Path, int], Field]) -> Path:
    """Return a field whose first night found the float stuck at 05:33 on its fourth day."""
    return judge(make_field(4, {3: 20000.0}), 4).path


def test_every_command_has_help() -> None:
    for name in HOMES:
        result = invoke(name, "--help")
        assert result.exit_code == 0
        assert len(result.output.splitlines()) > 3, name


def test_help_lists_every_command() -> None:
    listed = invoke("--help").output
    assert all(f" {name} " in listed for name in HOMES)


def test_findings_come_as_table_json_and_csv(judged: Path) -> None:
    found = json.loads(invoke("findings", judged, "--format", "json").output)
    (stuck,) = [f for f in found if f["kind"] == "float_stuck_closed"]
    assert stuck["vessel"] == "TK-1"
    assert stuck["priority"] == "high"
    # The dump that did not come was due within the half hour after the float jammed.
    onset = datetime.fromisoformat(stuck["onset"])
    jammed = FIRST + timedelta(days=3, seconds=20000)
    assert jammed - timedelta(hours=1) < onset < jammed + timedelta(hours=1)
    rows = list(csv.DictReader(io.StringIO(invoke("findings", judged, "--format", "csv").output)))
    assert [row["id"] for row in rows] == [f["id"] for f in found]
    assert stuck["id"] in invoke("findings", judged).output


def test_cycles_for_scripts_are_si_and_for_people_in_display_units(judged: Path) -> None:
    rows = json.loads(invoke("cycles", judged, "TK-1", "--format", "json").output)
    assert rows[0]["opening_level_m"] == pytest.approx(1.2, abs=0.02)
    table = invoke("cycles", judged, "TK-1", "--from", "2026-05-02", "--to", "2026-05-03").output
    assert "opening level [mm]" in table.splitlines()[0]
    assert table.splitlines()[-1] == "48 dumps"


def test_a_mark_is_kept_and_shown_and_changes_no_state(judged: Path) -> None:
    (finding,) = [f for f in _json("findings", judged) if f["kind"] == "float_stuck_closed"]
    result = invoke("mark", judged, finding["id"], "--as", "planned", "--note", "float on order", "--by", "R. Inventor")
    assert result.exit_code == 0
    (marked,) = [f for f in _json("findings", judged) if f["id"] == finding["id"]]
    assert marked["mark"]["as"] == "planned"
    assert marked["mark"]["note"] == "float on order"
    assert marked["state"] == finding["state"]
    with Store(read_field(judged).database).reading() as reader:
        assert reader.finding_events()["detail"][-1] == "planned by R. Inventor: float on order"


def test_a_mark_on_no_finding_says_where_the_findings_are(judged: Path) -> None:
    result = invoke("mark", judged, "nothing", "--as", "known", "--note", "x")
    with pytest.raises(SettingError, match="nightgauge findings"):
        raise result.exception


def test_nights_says_what_ran_and_complains_when_the_last_is_old(judged: Path) -> None:
    (night,) = _json("nights", judged)
    assert night["state"] == "done"
    assert invoke("nights", judged, "--max-age", "26h").exit_code == 0
    with pytest.raises(NoGoodNight, match="more than 0:00:00"):
        raise invoke("nights", judged, "--max-age", "0s").exception


def test_nights_shows_the_steps_of_each(judged: Path) -> None:
    steps = _json("nights", judged, "--steps")
    assert [step["step"] for step in steps] == ["deriving", "reckoning", "judging", "keeping"]
    assert all(step["night_id"] == 1 and step["took_s"] >= 0 for step in steps)
    skipped = json.loads(steps[2]["detail"])["skipped"]
    assert "TK-2" in skipped["needs interface level"]["vessels"]
    table = invoke("nights", judged, "--steps").output.splitlines()
    assert table[0].split() == ["step_id", "night_id", "step", "started_utc", "took_s", "rows_in", "rows_out", "detail"]
    assert table[3].endswith("…")
    assert invoke("nights", judged, "--steps", "--format", "csv").output.count("\n") == 5


def test_a_field_where_no_night_has_run_has_no_good_night_either(make_field: Callable[..., Path]) -> None:
    with pytest.raises(NoGoodNight, match="no night has run yet"):
        raise invoke("nights", make_field(1), "--max-age", "26h").exception


def test_check_tells_data_silence_and_what_can_be_judged(make_field: Callable[..., Path]) -> None:
    toml = make_field(2)
    with (toml.parent / "tags.csv").open("a") as tags:
        tags.write("FQ-1,TK-1,water_total,m3\n")
    with next((toml.parent / "streams").iterdir()).open("a") as export:
        export.write("STRANGER,2026-05-01T00:00:00Z,1\n")
    facts = json.loads(invoke("check", toml, "--format", "json").output)
    assert {t["tag"]: t["samples"] for t in facts["tags"]} == {
        "LT-1": 2880, "ZS-1": 2880, "PT-1": 2880, "PT-2": 2880, "FQ-1": 0,
    }  # fmt: skip
    assert [t["tag"] for t in facts["tags"] if t["silent"]] == ["FQ-1"]
    assert facts["unknown_tags"] == {"STRANGER": 1}
    kinds = {v["id"]: v["kinds"] for v in facts["vessels"]}
    assert kinds["TK-1"]["float_sticking"]["can_be_judged"]
    assert not kinds["TK-1"]["dump_leaking"]["can_be_judged"]
    assert not kinds["TK-2"]["float_sticking"]["can_be_judged"]
    assert "water_total" in invoke("check", toml).output


def test_weekly_prints_text_and_writes_the_page(judged: Path, tmp_path: Path) -> None:
    text = invoke("weekly", judged, "--text").output
    assert "TK-1" in text
    assert "Two Kettles" in text
    page = tmp_path / "page.html"
    assert invoke("weekly", judged, "--out", page).output.strip() == str(page)
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_explain_prints_every_limit_with_reason_and_source() -> None:
    output = invoke("explain", "float_stuck_closed").output
    assert "periods = 3" in output
    assert output.count("source:") >= 3
    with pytest.raises(SettingError, match="there is no kind 'rust'"):
        raise invoke("explain", "rust").exception


@pytest.mark.parametrize(
    ("arguments", "error", "says"),
    [
        (("findings",), StoreMissing, "no night has run"),
        (("cycles", "TK-9"), SettingError, "'TK-9' is not in .*TK-1, TK-2"),
        (("weekly", "--week-ending", "soon"), NightgaugeError, "no night has run|is no date"),
        (("nights", "--max-age", "26"), SettingError, "has no unit"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    make_field: Callable[..., Path], arguments: tuple[str, ...], error: type[Exception], says: str
) -> None:
    toml = make_field(1)
    result = invoke(arguments[0], toml, *arguments[1:])
    with pytest.raises(error, match=says):
        raise result.exception
    assert "\n" not in str(result.exception)


def test_a_wrong_field_folder_ends_with_2_and_all_its_mistakes(
    make_field: Callable[..., Path], run: Callable[..., subprocess.CompletedProcess[str]]
) -> None:
    toml = make_field(1)
    text = toml.read_text().replace('inside_diameter = "2.4 m"', 'inside_diameter = "2.4 kPa"\ncolour = "green"')
    toml.write_text(text)
    (toml.parent / "tags.csv").write_text("tag,vessel,signal,unit\nLT-1,TK-7,interface_level,m\n")
    ended = run("nightgauge", "check", toml)
    assert ended.returncode == 2
    lines = ended.stderr.splitlines()
    assert len(lines) == 3
    assert all("found" in line and "expected" in line for line in lines)


def _json(command: str, toml: Path, *more: str) -> list[dict]:
    return json.loads(invoke(command, toml, *more, "--format", "json").output)
