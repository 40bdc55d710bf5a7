"""Messages to people: a night that failed, one that did not happen, a new high finding.

Where they go is told by the environment variable `NIGHTGAUGE_NOTIFY` alone: addresses as the library Apprise knows
them, or `block:TYPE/NAME` for a notification block of the Prefect server, with blanks between them. No address is ever
printed, logged or kept. A message that cannot be sent is told and stops nothing.
"""

import logging
import os
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import polars as pl

from nightgauge.errors import NightgaugeError
from nightgauge.field.read import read_field
from nightgauge.report.words import kind_words

ADDRESSES = "NIGHTGAUGE_NOTIFY"
MOST = 20
"""Findings or troubles that one message names. House choice: more than that is read on the page."""

_CONTROL = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+")
_log = logging.getLogger("nightgauge.notices")


@dataclass(frozen=True)
class Notice:
    """One message."""

    subject: str
    text: str


def failed(name: str, error: Exception) -> Notice:
    """Return what is told of a night that failed.

    Only texts of our own are passed on: those of a library might hold a password.
    """
    why = str(error) if isinstance(error, NightgaugeError) else f"an error of the program ({type(error).__name__})"
    return _notice(
        f"{name}: the night failed",
        [why],
        "What was done before is kept; the next night goes on from there. Until then the page is that of an"
        " earlier night.",
    )


def incomplete(name: str, troubles: Sequence[str], page: Path) -> Notice:
    """Return what is told of a night that was done but for some exports or vessels."""
    return _notice(f"{name}: the night was done, but not all of it", troubles, f"The week's page: {page}")


def not_run(name: str, why: str) -> Notice:
    """Return what is told where the check of the last good night fails."""
    return _notice(
        f"{name}: the night did not happen", [why], "See whether the machine and its schedule run: findings are old."
    )


def new_high(name: str, findings: pl.DataFrame, page: Path) -> Notice:
    """Return what is told of FINDINGS that are new and high."""
    told = [
        f"{row['vessel']}: {kind_words(row['kind'], row['element'])}. {row['summary'] or ''}"
        for row in findings.sort("vessel", "onset", "id").iter_rows(named=True)
    ]
    count = "a new high finding" if len(told) == 1 else f"{len(told)} new high findings"
    return _notice(
        f"{name}: {count}",
        told,
        f"The week's page, with what to check first: {page}",
        "It tells what to look at, never that a vessel is safe to open: the site's own procedure comes first.",
    )


def trial(name: str) -> Notice:
    """Return a message that only shows that messages arrive."""
    return _notice(f"{name}: a test message", ["Nothing has happened: this only shows that messages arrive."])


def _notice(subject: str, lines: Sequence[str], *after: str) -> Notice:
    told = [_CONTROL.sub(" ", line).strip() for line in lines[:MOST]]
    if len(lines) > MOST:
        told.append(f"and {len(lines) - MOST} more")
    return Notice(_CONTROL.sub(" ", subject), "\n".join([*told, *(["", *after] if after else [])]))


def is_wanted() -> bool:
    """Return whether anybody wants messages."""
    return bool(os.environ.get(ADDRESSES, "").split())


def post(notice: Notice) -> bool:
    """Send a message to everybody who wants it; say so where that fails, and return whether it arrived everywhere."""
    if not is_wanted():
        return False
    # The library takes a second to load, and most nights have nothing to say.
    troubles: list[str] = import_module("sending").send(os.environ[ADDRESSES].split(), notice.subject, notice.text)
    for trouble in troubles:
        sys.stderr.write(f"a message could not be sent ({notice.subject}): {trouble}\n")
        _log.info("message not sent", extra={"facts": {"subject": notice.subject, "why": trouble}})
    return not troubles


def name_of(field_toml: Path) -> str:
    """Return the field's name, or where it should be told, for messages about a field that may be wrong."""
    try:
        return read_field(field_toml).name
    except NightgaugeError:
        return str(field_toml)


@contextmanager
def told_if_it_fails(field_toml: Path) -> Iterator[None]:
    """Send a message about what goes wrong inside, and let it go on."""
    try:
        yield
    except Exception as error:
        post(failed(name_of(field_toml), error))
        raise
