"""The check from outside: tell who wants to know when no good night has run in time.

    uv run flows/watch.py FIELD_TOML [--max-age 26h]     from a timer of its own, some hours after the night
    uv run flows/watch.py FIELD_TOML --send-test         see whether messages arrive

Ends with 5 where the last good night is older than allowed, also where nobody is told.
"""

import argparse
import sys
from datetime import timedelta

import notices
from doorway import clock, duration_s, guarded, parser, say
from nightgauge.errors import NightgaugeError, NoGoodNight, SettingError
from nightgauge.field.read import read_field
from nightgauge.pipeline.watching import require_recent
from nightgauge.store import Store

MAX_AGE_S = 26 * 3600.0
"""A nightly run and two hours of grace. House choice."""


def arguments() -> argparse.Namespace:
    """Return the command line's arguments."""
    made = parser("Tell who wants to know when no good night has run in time.")
    made.add_argument("--max-age", metavar="DURATION", type=duration_s, default=MAX_AGE_S, help="allowed (26h)")
    made.add_argument("--send-test", action="store_true", help="only send a test message")
    return made.parse_args()


def main() -> int:
    """Check the last good night, or send a test message."""
    asked = arguments()
    if asked.send_test:
        field = read_field(asked.field)
        if not notices.is_wanted():
            raise SettingError(f"nobody wants messages: set the environment variable {notices.ADDRESSES}")
        if not notices.post(notices.trial(field.name)):
            return NoGoodNight.exit_code
        say("the test message was sent")
        return 0
    try:
        require_recent(Store(read_field(asked.field).database), timedelta(seconds=asked.max_age), clock())
    except NightgaugeError as error:  # also where the check cannot be made: that is no reason to be silent
        notices.post(notices.not_run(notices.name_of(asked.field), str(error)))
        raise
    say("the last good night is recent enough")
    return 0


if __name__ == "__main__":
    sys.exit(guarded(main))
