"""Serve the nightly run of a field on its schedule; needs a Prefect server (see the README).

uv run flows/schedule.py FIELD_TOML [--at 02:00]
"""

import argparse
import re
import sys
from datetime import time

from doorway import guarded, parser, say
from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightly import nightly
from prefect_quiet import Cron, server_url

DEFAULT_START = "02:00"
"""House choice: after the historian's midnight jobs, before anyone is at work."""


def clock_time(text: str) -> time:
    """Return a time of day, for argparse."""
    try:
        return time.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no time of day; expected one like 02:00") from error


def main() -> int:
    """Serve until stopped."""
    made = parser("Serve the nightly run on its schedule, in the field's time zone.")
    made.add_argument("--at", metavar="HH:MM", type=clock_time, default=DEFAULT_START, help="time of day (02:00)")
    asked = made.parse_args()
    field = read_field(asked.field)
    if server_url() is None:
        raise SettingError(
            "no Prefect server is configured, and a schedule fires only from one; start it with "
            "`uv run prefect server start` and set PREFECT_API_URL=http://127.0.0.1:4200/api"
        )
    schedule = Cron(f"{asked.at.minute} {asked.at.hour} * * *", timezone=field.time_zone)
    say(f"{field.name}: the night runs every day at {asked.at:%H:%M} {field.time_zone}; stop with Ctrl-C")
    nightly.serve(
        name=re.sub(r"[/%&<>]", "-", field.name),  # characters that Prefect takes in no name
        schedule=schedule,
        parameters={"field_toml": str(field.path.absolute()), "wait_s": 600.0},
    )
    return 0


if __name__ == "__main__":
    sys.exit(guarded(main))
