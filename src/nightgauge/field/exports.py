"""Checks of the settings that say where the exports lie and how their time stamps are written."""

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from nightgauge.field.problems import Scope, shown

_SHORTHANDS = {"%F": "%Y-%m-%d", "%D": "%m/%d/%y", "%T": "%H:%M:%S", "%R": "%H:%M", "%e": "%d"}
"""Directives of strftime that Python writes and does not read."""
_SAMPLE = datetime.fromisoformat("2026-11-28T13:30:15+00:00")
"""A time whose day, month, year and hour cannot be taken for one another."""


def find_bad_patterns(streams: Sequence[str] | None, scope: Scope) -> None:
    """Note every pattern of `streams` that cannot be searched for within the folder."""
    if streams is not None and not streams:
        scope.add("streams", "an empty list", "at least one pattern", 'write one like "streams/**/*.csv*"')
    for pattern in streams or ():
        parts = Path(pattern).parts
        if not parts or Path(pattern).is_absolute() or any("**" in part and part != "**" for part in parts):
            scope.add(
                "streams",
                shown(pattern),
                "a pattern relative to field.toml, in which ** stands alone between slashes",
                'write it like "streams/**/*.csv*"',
            )


def find_bad_time_format(time_format: str | None, scope: Scope) -> None:
    """Note a `time_format` from which no date and hour can be read."""
    if time_format is not None and not _reads_date_and_hour(time_format):
        scope.add(
            "time_format",
            shown(time_format),
            'directives of strftime for the date and the time of day, like "%d.%m.%Y %H:%M:%S"',
            "correct time_format, or take it out where stamps are ISO 8601 or epoch numbers",
        )


def _reads_date_and_hour(time_format: str) -> bool:
    plain = re.sub("%.", lambda directive: _SHORTHANDS.get(directive[0], directive[0]), time_format)
    try:
        read = datetime.strptime(_SAMPLE.strftime(plain), plain)  # noqa: DTZ007 the format need not have a zone
    except (ValueError, re.error):
        return False
    return (read.date(), read.hour) == (_SAMPLE.date(), _SAMPLE.hour)
