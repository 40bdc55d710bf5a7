"""The schedule over both changes of the clocks: one run a day, whatever is asked for."""

import shutil
import subprocess
from asyncio import run
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from prefect.server.schemas.schedules import CronSchedule

import schedule

# Two changes in 2026 each. Source: the time zone database of IANA (2026), read by zoneinfo; `test_the_clocks_change`
# holds the dates to it. Hours that are skipped and come twice: 2 to 3, 2 to 3, half an hour, and midnight itself.
CHANGES = {
    "America/Denver": (date(2026, 3, 8), date(2026, 11, 1)),
    "Europe/Berlin": (date(2026, 3, 29), date(2026, 10, 25)),
    "Australia/Lord_Howe": (date(2026, 4, 5), date(2026, 10, 4)),
    "Africa/Cairo": (date(2026, 4, 24), date(2026, 10, 30)),
}
BOTH = [(zone, day) for zone, days in CHANGES.items() for day in days]
TIMES = [time(0, 0), time(0, 30), time(1, 30), time(2, 0), time(2, 30), time(4, 10)]
UNITS = Path(schedule.__file__).parent / "systemd"


def dates_of(at: time, zone: str, start: datetime, days: int) -> list[datetime]:
    """Return when the server starts runs of our schedule, in UTC."""
    made = schedule.every_day(at, zone)
    cron = CronSchedule(cron=made.cron, timezone=made.timezone)
    end = start + timedelta(days=days) - timedelta(seconds=1)
    return [found.astimezone(UTC) for found in run(cron.get_dates(n=100, start=start, end=end))]


@pytest.mark.parametrize(("zone", "day"), BOTH)
def test_the_clocks_change(zone: str, day: date) -> None:
    midnight = datetime.combine(day, time(), ZoneInfo(zone))
    # The days that follow each other in UTC terms: a change makes one of them longer or shorter than 24 h.
    around = [(midnight + timedelta(days=step)).astimezone(UTC) for step in (-1, 0, 1, 2)]
    assert len({later - earlier for earlier, later in pairwise(around)}) > 1


@pytest.mark.parametrize("at", TIMES)
@pytest.mark.parametrize(("zone", "day"), BOTH)
def test_each_day_around_a_change_has_one_run(zone: str, day: date, at: time) -> None:
    start = datetime.combine(day - timedelta(days=3), time(0, 0), ZoneInfo(zone))
    runs = [found.astimezone(ZoneInfo(zone)) for found in dates_of(at, zone, start, 7)]
    assert [found.date() for found in runs] == [start.date() + timedelta(days=step) for step in range(7)]
    # A time that does not exist is moved by the gap; all others are what was asked for.
    assert {found.time() for found in runs if found.date() != day} == {at}


@pytest.mark.parametrize("at", [time(2, 0), time(2, 30), time(4, 10)])
@pytest.mark.parametrize(("zone", "day"), BOTH)
def test_asked_again_at_any_time_the_schedule_repeats_no_run_and_forgets_none(zone: str, day: date, at: time) -> None:
    start = datetime.combine(day - timedelta(days=1), time(12, 0), ZoneInfo(zone)).astimezone(UTC)
    at_once = dates_of(at, zone, start, 3)
    # The server asks again and again from its own now on.
    by_quarters = [dates_of(at, zone, start + timedelta(minutes=15 * quarter), 1)[:1] for quarter in range(2 * 96)]
    assert sorted({found for one in by_quarters for found in one}) == [
        found for found in at_once if found <= max(max(one) for one in by_quarters if one)
    ]


def test_a_time_of_day_that_is_none_is_told() -> None:
    with pytest.raises(schedule.argparse.ArgumentTypeError, match="'25:00' is no time of day"):
        schedule.clock_time("25:00")


@pytest.fixture
def systemd() -> str:
    """Give systemd's own checker, where there is one."""
    found = shutil.which("systemd-analyze")
    if found is None:
        pytest.skip("systemd-analyze is not installed")
    return found


def calendars() -> list[str]:
    lines = [line for unit in sorted(UNITS.glob("*.timer")) for line in unit.read_text().splitlines()]
    return [line.removeprefix("OnCalendar=") for line in lines if line.startswith("OnCalendar=")]


@pytest.mark.parametrize(("zone", "day"), BOTH)
def test_the_example_timers_come_once_a_day_over_the_changes(systemd: str, zone: str, day: date) -> None:
    assert len(calendars()) == 2
    for calendar in calendars():
        when, _ = calendar.rsplit(" ", 1)
        start = f"{day - timedelta(days=3)} 00:00:00 UTC"
        told = subprocess.run(
            [systemd, "calendar", f"--base-time={start}", "--iterations=7", f"{when} {zone}"],
            capture_output=True, text=True, check=True, env={"TZ": "UTC", "LC_ALL": "C"},
        ).stdout  # fmt: skip
        runs = [
            datetime.fromisoformat(f"{words[-3]}T{words[-2]}+00:00").astimezone(ZoneInfo(zone))
            for words in (line.split() for line in told.splitlines())
            if words[:2] == ["Next", "elapse:"] or words[:1] == ["Iteration"] or words[:1] == ["Iter."]
        ]
        assert [found.date() for found in runs] == [runs[0].date() + timedelta(days=step) for step in range(7)]


def test_the_example_units_are_what_systemd_expects(systemd: str, tmp_path: Path) -> None:
    # The example's programs and folders are not here: any program stands in for them.
    for unit in UNITS.iterdir():
        text = unit.read_text().replace("/opt/nightgauge/.venv/bin/python", "/bin/true")
        (tmp_path / unit.name).write_text(text)
    units = [str(path) for path in sorted(tmp_path.iterdir())]
    told = subprocess.run([systemd, "verify", "--man=no", *units], capture_output=True, text=True, check=False)
    ours = [line for line in told.stderr.splitlines() if "nightgauge" in line]
    assert (told.returncode, ours) == (0, [])
