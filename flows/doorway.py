"""What the flows' command lines share: arguments, progress, errors as one line and an exit code."""

import argparse
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from nightgauge.errors import FieldFolderError, NightgaugeError
from nightgauge.pipeline.nights import NightReport
from nightgauge.pipeline.reading import FileOutcome, ReadReport
from nightgauge.units import UnitProblem, parse

NEWLY_REFUSED_OR_FAILED = 3
"""Exit code of a run that refused an export or failed on a vessel; the rest was done."""


def parser(description: str) -> argparse.ArgumentParser:
    """Return a parser that takes the field."""
    made = argparse.ArgumentParser(description=description)
    made.add_argument("field", metavar="FIELD_TOML", type=Path, help="the field's field.toml")
    return made


def parsed_with_engine(made: argparse.ArgumentParser) -> argparse.Namespace:
    """Return what is asked, also for where vessels are derived."""
    made.add_argument(
        "--engine",
        choices=("plain", "dask"),
        default="plain",
        help="where vessels are derived: here, or by Dask workers",
    )
    made.add_argument("--scheduler", metavar="ADDRESS", help="Dask's scheduler (default: workers on this machine)")
    asked = made.parse_args()
    if asked.scheduler and asked.engine != "dask":
        made.error("--scheduler goes with --engine dask")
    return asked


def duration_s(text: str) -> float:
    """Return a duration such as "10min" in seconds, for argparse."""
    try:
        return parse(text, "duration")
    except UnitProblem as problem:
        raise argparse.ArgumentTypeError(str(problem)) from problem


def clock() -> datetime:
    """Return the time now, in UTC."""
    return datetime.now(UTC)


def say(text: str) -> None:
    """Print a line at once, also into a pipe; a reader that has gone away does not stop the night."""
    try:
        sys.stdout.write(text + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        # Python flushes once more at its end; what nobody reads goes nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def read_lines(report: ReadReport) -> list[str]:
    """Return the run summary of the reading step: every file that was not silently known, and sums that add up."""
    refused = [f"refused {outcome.path}: {outcome.reason}" for outcome in report.files if outcome.state == "refused"]
    others = [
        f"{outcome.state} {outcome.path}: {outcome.reason}"
        for outcome in report.files
        if outcome.state in {"duplicate", "growing"}
    ]
    uneven = [f"{outcome.path}: {sum_line(outcome)}" for outcome in report.files if outcome.is_uneven]
    total = f"{report.count('stored')} exports read: {sum_line(report.total)}"
    words: dict[str, int] = {}
    for outcome in report.files:
        for word, count in outcome.unknown_quality.items():
            words[word] = words.get(word, 0) + count
    unknown = [
        f"quality {word!r} is unknown: {count:,} rows taken as uncertain" for word, count in sorted(words.items())
    ]
    return [*refused, *others, *uneven, total, *unknown]


def sum_line(counts: FileOutcome) -> str:
    """Return the rows of one export, or of all, as the sum they are."""
    names = ("rows_stored", "rows_repeated", "rows_replaced", "rows_quarantined")
    parts = " + ".join(f"{getattr(counts, name):,} {name.removeprefix('rows_')}" for name in names)
    return f"{counts.rows_read:,} rows = {parts}"


def night_line(report: NightReport, zone: str) -> str:
    """Return one night as one line."""
    return f"night up to {report.until.isoformat(timespec='minutes')} ({zone}): {report.detail}"


def guarded(run: Callable[[], int]) -> int:
    """Run a command; print what stops it as one line (all mistakes of a field folder) and return the exit code."""
    try:
        return run()
    except FieldFolderError as error:
        sys.stderr.write("".join(f"{problem}\n" for problem in error.problems))
        return error.exit_code
    except NightgaugeError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
