"""Which column is which: the header of an export, its separator, and whether it is long or wide."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from nightgauge.streams.lines import fields_of

TAG_NAMES = (
    "tag", "tagname", "tagid", "point", "pointname", "pointid", "name", "item", "itemname", "itemid", "nodeid",
    "variable", "channel", "signal", "sensor", "series", "id",
)  # fmt: skip
TIME_NAMES = (
    "timestamp", "datetime", "time", "ts", "stamp", "dateandtime", "sampletime", "sourcetimestamp", "eventtime",
    "localtime", "date",
)  # fmt: skip
VALUE_NAMES = ("value", "val", "v", "reading", "processvalue", "samplevalue", "measurement", "data")
QUALITY_NAMES = ("quality", "qual", "q", "status", "statuscode", "qualitycode", "opcquality", "flag")
"""Usual headers by preference, letters and digits only, lower case. Common practice, no source."""

SEPARATORS = (",", ";", "\t")
MAX_COLUMNS = 100_000
"""Columns of an export. House choice: a field of 3000 vessels with 30 tags each, all in one file."""

_NOT_ALPHANUMERIC = re.compile(r"[\W_]+")


@dataclass(frozen=True)
class Layout:
    """Where the roles stand among the columns of one export."""

    form: Literal["long", "wide"]
    names: tuple[str, ...]
    """Headers as written, stripped, up to the last that has a name."""
    time: int
    tag: int | None = None
    value: int | None = None
    quality: int | None = None
    is_utc: bool = False
    """The header of the stamps says UTC: those without an offset are not of the wall clock."""

    @property
    def roles(self) -> dict[str, int]:
        """Return role to column number for long exports, and of the time only for wide ones."""
        places = {"tag": self.tag, "stamp": self.time, "text": self.value, "quality": self.quality}
        return {role: place for role, place in places.items() if place is not None}

    @property
    def cells(self) -> tuple[int, ...]:
        """Return the columns of a wide export that are tags."""
        return tuple(i for i, name in enumerate(self.names) if i != self.time and name) if self.form == "wide" else ()


def layout_of(names: Sequence[str], known_tags: frozenset[str]) -> Layout | None:
    """Return the roles of the columns, or None if these are no columns of an export.

    Parameters
    ----------
    names : sequence of str
        Headers as written.
    known_tags : frozenset of str
        Tags of the field: a header that is one of them makes the export wide.

    """
    stripped = [name.strip().strip("\ufeff") for name in names]
    while stripped and not stripped[-1]:
        stripped.pop()
    keys = [_NOT_ALPHANUMERIC.sub("", name).casefold() for name in stripped]
    time, is_utc = _time_place(keys)
    tag, value = _place(keys, TAG_NAMES), _place(keys, VALUE_NAMES)
    others_known = any(name in known_tags for i, name in enumerate(stripped) if i != time)
    if time is None and others_known and not stripped[0]:
        time = 0  # an index column written without a name
    if time is None or len(stripped) < 2:
        return None
    if tag is not None and value is not None:
        return Layout("long", tuple(stripped), time, tag, value, _place(keys, QUALITY_NAMES), is_utc)
    if tag is None or others_known:
        return Layout("wide", tuple(stripped), time, is_utc=is_utc)
    return None


def _time_place(keys: Sequence[str]) -> tuple[int | None, bool]:
    """Return the column of the stamps, and whether its header says UTC."""
    place = _place(keys, TIME_NAMES)
    if place is not None:
        return place, False
    of_utc = [key.replace("utc", "") if "utc" in key else "-" for key in keys]
    place = _place(of_utc, (*TIME_NAMES, ""))
    return place, place is not None


def _place(keys: Sequence[str], usual: Sequence[str]) -> int | None:
    return next((keys.index(name) for name in usual if name in keys), None)


def split_header(line: bytes, known_tags: frozenset[str]) -> tuple[str, Layout] | None:
    """Return the separator and the layout of a header line, or None if none of the separators makes sense of it."""
    best: tuple[str, Layout] | None = None
    for separator in SEPARATORS:
        if line.count(separator.encode()) >= MAX_COLUMNS:
            continue
        names = [name.decode("utf-8", errors="replace") for name in fields_of(line, separator) or ()]
        layout = layout_of(names, known_tags)
        if layout is not None and (best is None or len(layout.names) > len(best[1].names)):
            best = separator, layout
    return best
