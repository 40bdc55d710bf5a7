"""Nights in turn, each as it would have run then: how detectors are judged, and what a new site would have been told.

    uv run flows/replay.py FIELD_TOML --from D --to D [--into DATABASE]

The night of date D judges data before D 00:00 of the field. Samples that arrived later as corrections are
visible to a replay: it knows each export as it is now.
"""

import argparse
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

from doorway import NEWLY_REFUSED_OR_FAILED, guarded, night_line, parser, read_lines, say
from nightgauge.errors import SettingError, StoreMissing
from nightgauge.field.calendar import day_bounds
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.nights import nights_between
from nightgauge.store import Store
from nightly import has_server, read_exports, run_night, write_page
from prefect_quiet import flow, runnable


@flow(name="replay")
def replay(field_toml: Path, first: date, last: date, into: Path | None = None, *, with_server: bool = True) -> int:
    """Run the nights of the dates from first to last; return the exit code."""
    field = field_into(read_field(field_toml), into)
    store = Store(field.database)
    with store.night_lock():
        refuse_used(store, field)
        read = runnable(read_exports, with_server=with_server)(field)
        for line in read_lines(read):
            say(line)
        say("corrections that arrived later are seen by every night of a replay")
        failed = read.count("refused") > 0
        for until in nights_between(field, first, last):
            night = runnable(run_night, with_server=with_server)(field, until)
            failed = failed or bool(night.failed)
            say(night_line(night, field.time_zone))
        page = runnable(write_page, with_server=with_server)(field, day_bounds(field.zone, last)[0])
    say(f"the week's page is {page}")
    return NEWLY_REFUSED_OR_FAILED if failed else 0


def field_into(field: Field, into: Path | None) -> Field:
    """Return the field with another database, its pages beside that."""
    if into is None:
        return field
    database = into.absolute()
    return replace(field, database=database, reports=database.with_name(f"{database.stem}-reports"))


def refuse_used(store: Store, field: Field) -> None:
    """Raise where nights have run on the database: a replay starts with an empty ledger."""
    try:
        with store.reading() as reader:
            count = reader.nights().height
    except StoreMissing:
        return
    if count:
        raise SettingError(
            f"{field.database} holds {count} nights already, and a replay starts with an empty ledger; "
            "give it a database of its own with --into FILE"
        )


def day(text: str) -> date:
    """Return a date, for argparse."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no date; expected one like 2026-05-18") from error


def arguments() -> argparse.Namespace:
    """Return the command line's arguments."""
    made = parser("Run nights in turn, each as it would have run then.")
    made.add_argument("--from", dest="first", metavar="D", type=day, required=True, help="date of the first night")
    made.add_argument("--to", dest="last", metavar="D", type=day, required=True, help="date of the last night")
    made.add_argument("--into", metavar="DATABASE", type=Path, help="another database than the field's own")
    asked = made.parse_args()
    if asked.last < asked.first:
        made.error(f"--to {asked.last} lies before --from {asked.first}")
    return asked


def main() -> int:
    """Replay what the command line asks for."""
    asked = arguments()
    field = field_into(read_field(asked.field), asked.into)  # What is wrong is told before Prefect starts.
    refuse_used(Store(field.database), field)
    with_server = has_server()
    return runnable(replay, with_server=with_server)(
        asked.field, asked.first, asked.last, asked.into, with_server=with_server
    )


if __name__ == "__main__":
    sys.exit(guarded(main))
