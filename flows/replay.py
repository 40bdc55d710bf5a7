"""Nights in turn, each as it would have run then: how detectors are judged, and what a new site would have been told.

    uv run flows/replay.py FIELD_TOML --from D --to D [--into DATABASE] [--resume]

The night of date D judges data before D 00:00 of the field. Samples that arrived later as corrections are
visible to a replay: it knows each export as it is now. A replay that was stopped goes on with `--resume`: exports
that were stored and nights that were kept are not done again.
"""

import argparse
import sys
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import polars as pl

from bars import progress
from doorway import NEWLY_REFUSED_OR_FAILED, guarded, night_line, parser, read_lines, say
from nightgauge.errors import SettingError
from nightgauge.field.calendar import day_bounds
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.nights import nights_between
from nightgauge.store import Store
from nightly import has_server, read_exports, run_night, write_page
from prefect_quiet import flow, runnable


@flow(name="replay")
def replay(
    field_toml: Path,
    first: date,
    last: date,
    into: Path | None = None,
    *,
    resume: bool = False,
    with_server: bool = True,
) -> int:
    """Run the nights of the dates from first to last; return the exit code."""
    field = field_into(read_field(field_toml), into)
    store = Store(field.database)
    tell = progress()
    with store.night_lock():
        wanted = nights_between(field, first, last)
        left = wanted[kept_so_far(store, field, wanted, may_go_on=resume) :]
        read = runnable(read_exports, with_server=with_server)(field)
        for line in read_lines(read):
            say(line)
        say("corrections that arrived later are seen by every night of a replay")
        failed = read.count("refused") > 0
        if len(left) < len(wanted):
            say(f"{len(wanted) - len(left)} of {len(wanted)} nights were kept before")
        for number, until in enumerate(left, start=len(wanted) - len(left)):
            tell("nights", number, len(wanted))
            night = runnable(run_night, with_server=with_server)(field, until)
            failed = failed or bool(night.failed)
            say(night_line(night, field.time_zone))
        tell("nights", len(wanted), len(wanted))
        page = runnable(write_page, with_server=with_server)(field, day_bounds(field.zone, last)[0])
    say(f"the week's page is {page}")
    return NEWLY_REFUSED_OR_FAILED if failed else 0


def field_into(field: Field, into: Path | None) -> Field:
    """Return the field with another database, its pages beside that."""
    if into is None:
        return field
    database = into.absolute()
    return replace(field, database=database, reports=database.with_name(f"{database.stem}-reports"))


def kept_so_far(store: Store, field: Field, wanted: list[datetime], *, may_go_on: bool) -> int:
    """Return how many of the wanted nights the database holds already; raise where it holds others.

    A replay starts with an empty ledger, or goes on where one of the same nights was stopped.
    """
    if not field.database.exists():
        return 0
    with store.writing() as writer:  # a database of an older version is brought up to date, which only a writer may
        runs = writer.nights()
    kept = runs.filter(pl.col("state") == "done")["until_utc"].to_list()
    is_same = kept == wanted[: len(kept)]
    if runs.is_empty() or (may_go_on and is_same):
        return len(kept)
    if is_same:
        remedy = "to go on where it was stopped, add --resume"
    elif may_go_on:
        remedy = "these are not the first nights of the dates asked for, so there is nothing to go on with"
    else:
        remedy = "give it a database of its own with --into FILE"
    raise SettingError(
        f"{field.database} holds {len(kept)} nights already, and a replay starts with an empty ledger; {remedy}"
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
    made.add_argument("--resume", action="store_true", help="go on with a replay of these dates that was stopped")
    asked = made.parse_args()
    if asked.last < asked.first:
        made.error(f"--to {asked.last} lies before --from {asked.first}")
    return asked


def main() -> int:
    """Replay what the command line asks for."""
    asked = arguments()
    field = field_into(read_field(asked.field), asked.into)  # What is wrong is told before Prefect starts.
    kept_so_far(Store(field.database), field, nights_between(field, asked.first, asked.last), may_go_on=asked.resume)
    with_server = has_server()
    return runnable(replay, with_server=with_server)(
        asked.field, asked.first, asked.last, asked.into, resume=asked.resume, with_server=with_server
    )


if __name__ == "__main__":
    sys.exit(guarded(main))
