"""The log of a run as JSON lines, one event a line, for who asks for it."""

import json
import logging
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime

from nightgauge.errors import SettingError

LOG = "NIGHTGAUGE_LOG"
"""Environment variable that asks for a log: a file to append to, or `-` for standard error."""
_ROOT = "nightgauge"


class _JsonLines(logging.Formatter):
    """One event as one line of JSON; its facts are what the event was logged with as `facts`."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        facts = getattr(record, "facts", {})
        return json.dumps({"at": at, "what": record.getMessage(), **facts}, ensure_ascii=False, default=str)


class _Lines(logging.StreamHandler):  # type: ignore[type-arg]
    """Lines to a stream; where that can no longer be written the run goes on without its log."""

    def handleError(self, record: logging.LogRecord) -> None:
        logging.getLogger(_ROOT).removeHandler(self)
        sys.stderr.write(f"the log can no longer be written ({sys.exc_info()[1]}); the run goes on without it\n")


@contextmanager
def logged(asked: str | None) -> Iterator[None]:
    """Write the log of what runs inside, to where it is asked for or else to where the environment says.

    Raises
    ------
    SettingError
        If the file cannot be opened.

    """
    target = asked or os.environ.get(LOG)
    if not target:
        yield
        return
    if target == "-":
        with _listening(_Lines(sys.stderr)):
            yield
        return
    try:
        stream = open(target, "a", encoding="utf-8")  # noqa: PTH123, SIM115  closed below
    except OSError as error:
        raise SettingError(f"the log {target} cannot be written: {error.strerror}; name another file") from error
    try:
        with _listening(_Lines(stream)):
            yield
    finally:
        with suppress(OSError):  # what could not be written has been told
            stream.close()


@contextmanager
def _listening(handler: logging.Handler) -> Iterator[None]:
    log = logging.getLogger(_ROOT)
    handler.setFormatter(_JsonLines())
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.propagate = False
    try:
        yield
    finally:
        log.removeHandler(handler)
