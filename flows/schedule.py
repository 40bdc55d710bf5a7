"""Serve the nightly run of a field on its schedule; needs a Prefect server (see the README).

    uv run flows/schedule.py FIELD_TOML [--at 04:10] [--timeout 12h] [--engine dask [--scheduler ADDRESS]]

The time of day is that of the field. On the nights when its clocks change the run comes once too: at the first pass
of an hour that comes twice, and an hour later where the time does not exist.
"""

import argparse
import re
import sys
from datetime import time
from pathlib import Path

from doorway import duration_s, guarded, parsed_with_engine, parser, say
from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightly import Asked, attended
from prefect_quiet import Cron, Schedule, flow, server_url

DEFAULT_START = "04:10"
"""House choice: after the historian's midnight jobs and the hours that clocks skip or repeat, before work begins."""
TIME_LIMIT_S = 12 * 3600.0
"""House choice: time for a first night of years of exports; the next night finds the way free."""
WAIT_S = 600.0
"""How long a scheduled night waits for one that somebody has started by hand. [s] House choice."""


@flow(name="night on schedule")
def scheduled_night(
    field_toml: Path, timeout_s: float = TIME_LIMIT_S, engine: str = "plain", scheduler: str | None = None
) -> int:
    """Run a night that nobody looks at; return the exit code."""
    return attended(Asked(field_toml, wait=WAIT_S, timeout=timeout_s, engine=engine, scheduler=scheduler))


def clock_time(text: str) -> time:
    """Return a time of day, for argparse."""
    try:
        return time.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no time of day; expected one like 04:10") from error


def every_day(at: time, time_zone: str) -> Schedule:
    """Return the schedule of one run a day, by the clocks of a zone."""
    return Cron(f"{at.minute} {at.hour} * * *", timezone=time_zone)


def arguments() -> argparse.Namespace:
    """Return the command line's arguments."""
    made = parser("Serve the nightly run on its schedule, in the field's time zone.")
    made.add_argument("--at", metavar="HH:MM", type=clock_time, default=DEFAULT_START, help="time of day (04:10)")
    made.add_argument(
        "--timeout",
        metavar="DURATION",
        type=duration_s,
        default=TIME_LIMIT_S,
        help="end a night that takes longer (12h)",
    )
    return parsed_with_engine(made)


def main() -> int:
    """Serve until stopped."""
    asked = arguments()
    field = read_field(asked.field)
    if server_url() is None:
        raise SettingError(
            "no Prefect server is configured, and a schedule fires only from one; start it with "
            "`uv run prefect server start` and set PREFECT_API_URL=http://127.0.0.1:4200/api"
        )
    say(f"{field.name}: the night runs every day at {asked.at:%H:%M} {field.time_zone}; stop with Ctrl-C")
    scheduled_night.serve(
        name=re.sub(r"[/%&<>]", "-", field.name),  # characters that Prefect takes in no name
        schedule=every_day(asked.at, field.time_zone),
        parameters={
            "field_toml": str(field.path.absolute()),
            "timeout_s": asked.timeout,
            "engine": asked.engine,
            "scheduler": asked.scheduler,
        },
    )
    return 0


if __name__ == "__main__":
    sys.exit(guarded(main))
