"""The flows as they are typed, as processes: what they print, how they end, what they leave behind."""

import json
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from nightgauge.field.read import read_field
from nightgauge.store import Store
from nightgauge.vocabulary.frames import FIRST_TIME

LAST = datetime(2100, 1, 1, tzinfo=UTC)
Run = Callable[..., subprocess.CompletedProcess[str]]
MakeField = Callable[..., Path]


@pytest.fixture(autouse=True)
def no_server(monkeypatch: pytest.MonkeyPatch) -> None:
    """These runs are of a machine without a Prefect server."""
    monkeypatch.delenv("PREFECT_API_URL", raising=False)


def test_a_night_ends_by_saying_where_the_page_is(make_field: MakeField, run: Run) -> None:
    toml = make_field(3)
    ended = run("flows/nightly.py", toml)
    assert ended.returncode == 0, ended.stderr
    last = ended.stdout.splitlines()[-1]
    assert last == f"the week's page is {toml.parent / 'reports' / 'weekly.html'}"
    assert "17,280 rows = 17,280 stored + 0 repeated + 0 replaced + 0 quarantined" in ended.stdout
    assert (toml.parent / "reports" / "weekly.html").stat().st_size > 10_000


def test_a_night_with_a_refused_export_names_it_and_ends_with_3_once(make_field: MakeField, run: Run) -> None:
    toml = make_field(2)
    (toml.parent / "streams" / "junk.csv").write_text("colour,size\nred,3\n")
    first = run("flows/nightly.py", toml)
    assert first.returncode == 3
    assert "junk.csv" in first.stdout
    again = run("flows/nightly.py", toml)
    assert again.returncode == 0


def test_a_second_night_ends_at_once_with_4_and_names_the_holder(make_field: MakeField, run: Run) -> None:
    toml = make_field(1)
    with Store(read_field(toml).database).night_lock():
        ended = run("flows/nightly.py", toml)
    assert ended.returncode == 4
    assert "PID" in ended.stderr or "process" in ended.stderr
    assert len(ended.stderr.splitlines()) == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--until", "tomorrow"), "no time"),
        (("--wait", "10 kPa"), "duration"),
    ],
)
def test_wrong_arguments_end_with_2(make_field: MakeField, run: Run, arguments: tuple[str, ...], says: str) -> None:
    ended = run("flows/nightly.py", make_field(1), *arguments)
    assert ended.returncode == 2
    assert says in ended.stderr
    assert "Traceback" not in ended.stderr


def test_a_field_that_does_not_exist_ends_with_2(tmp_path: Path, run: Run) -> None:
    ended = run("flows/nightly.py", tmp_path / "field.toml")
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr


def test_a_reader_that_goes_away_does_not_stop_the_night(make_field: MakeField) -> None:
    toml = make_field(1)
    night = [sys.executable, str(Path(__file__).parents[2] / "flows" / "nightly.py"), str(toml)]
    with subprocess.Popen(night, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        running.stdout.close()
        told = running.stderr.read()
    assert (running.returncode, told) == (0, b"")
    assert (toml.parent / "reports" / "weekly.html").exists()


def test_replay_reports_a_fault_on_the_night_that_could_first_see_it(make_field: MakeField, run: Run) -> None:
    toml = make_field(6, {4: 20000.0})
    ended = run("flows/replay.py", toml, "--from", "2026-05-03", "--to", "2026-05-07")
    assert ended.returncode == 0, ended.stderr
    found = json.loads(run("nightgauge", "findings", toml, "--format", "json").stdout)
    (stuck,) = [f for f in found if f["kind"] == "float_stuck_closed"]
    # The float jams on 5 May at 05:33; the night of 6 May is the first to judge that day.
    assert stuck["first_reported"] == "2026-05-06T00:00:00+00:00"
    again = run("flows/replay.py", toml, "--from", "2026-05-03", "--to", "2026-05-07")
    assert again.returncode == 2
    assert "--resume" in again.stderr
    other = run("flows/replay.py", toml, "--from", "2026-05-04", "--to", "2026-05-07")
    assert other.returncode == 2
    assert "--into" in other.stderr


def test_a_replay_that_was_killed_goes_on_where_it_stood(make_field: MakeField, run: Run) -> None:
    toml = make_field(6, {4: 20000.0})
    nights = ("--from", "2026-05-03", "--to", "2026-05-07")
    whole, parts = toml.parent / "whole.duckdb", toml.parent / "parts.duckdb"
    assert run("flows/replay.py", toml, *nights, "--into", whole).returncode == 0
    stopped = [sys.executable, str(Path(__file__).parents[2] / "flows" / "replay.py"), str(toml)]
    with subprocess.Popen([*stopped, *nights, "--into", str(parts)], stdout=subprocess.PIPE, text=True) as running:
        for line in running.stdout:
            if line.startswith("night up to 2026-05-05"):
                running.kill()
    refused = run("flows/replay.py", toml, *nights, "--into", parts)
    assert (refused.returncode, "--resume" in refused.stderr) == (2, True)
    others = run("flows/replay.py", toml, "--from", "2026-05-04", "--to", "2026-05-07", "--into", parts, "--resume")
    assert (others.returncode, "nothing to go on with" in others.stderr) == (2, True)
    resumed = run("flows/replay.py", toml, *nights, "--into", parts, "--resume")
    assert resumed.returncode == 0, resumed.stderr
    assert "of 5 nights were kept before" in resumed.stdout
    with Store(whole).reading() as one, Store(parts).reading() as other:
        assert one.findings().equals(other.findings())
        assert one.finding_events().equals(other.finding_events())
        assert one.hours(FIRST_TIME, LAST).equals(other.hours(FIRST_TIME, LAST))


def test_a_schedule_without_a_server_says_how_to_start_one(make_field: MakeField, run: Run) -> None:
    ended = run("flows/schedule.py", make_field(1))
    assert ended.returncode == 2
    assert "prefect server start" in ended.stderr
