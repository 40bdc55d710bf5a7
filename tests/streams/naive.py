"""A reader of exports in plain loops, straight from the field format: csv module, zoneinfo, one row at a time.

It is told the dialect and the columns, so it shares nothing with the code under test but the objects of
the field. Text in, everything that the real reader promises out.
"""

import csv
import fnmatch
import io
import math
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from nightgauge.field.settings import Field, TagRow
from nightgauge.vocabulary.signals import SIGNALS

ISO = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)(?:[Tt ](\d\d):(\d\d)(?::(\d\d)(?:[.,](\d+))?)?"
    r"(?: ?([Zz]|UTC|GMT)| ?([+-])(\d\d)(?::?(\d\d))?)?)?",
    re.ASCII,
)
EPOCH = re.compile(r"[+-]?\d+(?:[.,]\d*)?", re.ASCII)
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)


@dataclass
class Kept:
    """One row that becomes a sample."""

    tag: str
    tag_id: int
    utc: datetime
    local: datetime | None
    window: datetime | None
    """Start of the doubled hour the stamp lies in."""
    value: float | None
    text: str | None
    flag: str


@dataclass
class Reading:
    """Everything the twin found."""

    kept: list[Kept] = field(default_factory=list)
    quarantine: list[tuple[int, int, str, str | None]] = field(default_factory=list)
    """Row number, rows, reason, tag."""
    strangers: dict[tuple[str, str], list[int]] = field(default_factory=dict)
    """Tag and reason to first row and rows."""
    seen: dict[str, int] = field(default_factory=dict)
    ignored: int = 0
    unknown_quality: dict[str, int] = field(default_factory=dict)
    assumed_first: int = 0
    samples: list[tuple] = field(default_factory=list)
    losers: list[tuple] = field(default_factory=list)
    repeated: int = 0
    rows: int = 0


@dataclass(frozen=True)
class Columns:
    """The dialect of one export."""

    separator: str
    header: tuple[str, ...]
    time: int
    tag: int | None = None
    value: int | None = None
    quality: int | None = None

    @property
    def is_long(self) -> bool:
        return self.tag is not None


def read(text: str, columns: Columns, tags: list[tuple[int, TagRow]], folder: Field, clock: datetime) -> Reading:
    """Read the text of an export that begins with its header."""
    found = Reading()
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=columns.separator, strict=False)
    number = 1
    for i, cells in enumerate(reader):
        line, number = number, reader.line_num + 1
        if i == 0 or not cells or (len(cells) == 1 and not cells[0].strip()):
            continue
        width = len(columns.header)
        if len(cells) < width or any(cell.strip() for cell in cells[width:]):
            filled = sum(bool(cell.strip()) for cell in cells)
            rows = 1 if columns.is_long else max(filled - 1, 1)
            found.rows += rows
            found.quarantine.append((line, rows, "wrong number of fields", None))
            continue
        for tag, value, quality in _samples_of(cells, columns):
            _judge(found, line, (tag, cells[columns.time], value, quality), columns, (tags, folder, clock))
    _resolve(found, folder.zone)
    _settle(found)
    return found


def _samples_of(cells, columns):
    if columns.is_long:
        quality = cells[columns.quality] if columns.quality is not None else ""
        return [(cells[columns.tag], cells[columns.value], quality)]
    return [
        (name, cells[i], "") for i, name in enumerate(columns.header) if i != columns.time and name and cells[i].strip()
    ]


def _judge(found, line, row, columns, world):  # noqa: C901  the format's rules in its own order
    tag, stamp, value, quality = (cell.strip() for cell in row)
    tags, folder, clock = world
    is_header = stamp.lower() == columns.header[columns.time].lower()

    def out(reason):
        found.rows += 1
        found.quarantine.append((line, 1, reason, tag or None))

    if is_header and columns.is_long:
        return out("header line again")
    if not tag:
        return out("empty tag")
    if not is_header:
        found.seen[tag] = found.seen.get(tag, 0) + 1
    if not is_header and any(fnmatch.fnmatchcase(tag, pattern) for pattern in folder.ignore):
        found.ignored += 1
        return None
    if is_header:
        return out("header line again")
    found.rows += 1
    rows_of_tag = [(tag_id, tag_row) for tag_id, tag_row in tags if tag_row.tag == tag]
    if not rows_of_tag:
        return _stranger(found, tag, "tag is not in tags.csv", line)
    found.rows -= 1
    time = read_stamp(stamp, folder.time_format)
    if time is None:
        return out("unreadable time stamp")
    local, window = None, None
    if time.tzinfo is None:
        local = time
        time, window = to_utc(time, folder.zone)
        if time is None:
            return out("time stamp in the hour that the clock change left out")
    if time < datetime(1990, 1, 1, tzinfo=UTC):
        return out("time stamp before 1990")
    if time > clock + timedelta(days=1):
        return out("time stamp later than the clock at reading plus one day")
    valid = [(tag_id, tag_row) for tag_id, tag_row in rows_of_tag if _holds(tag_row, time)]
    if not valid:
        found.rows += 1
        return _stranger(found, tag, "tag is in tags.csv, but not valid at that time", line)
    tag_id, tag_row = valid[0]
    flag, is_known = read_quality(quality, folder.quality_codes)
    if not value and flag != "bad":
        return out("no value")
    number, said, reason = (None, None, None) if not value else read_value(value, tag_row)
    if reason:
        return out(reason)
    found.rows += 1
    if not is_known:
        found.unknown_quality[quality] = found.unknown_quality.get(quality, 0) + 1
    found.kept.append(Kept(tag, tag_id, time, local, window, number, said, flag))
    return None


def _stranger(found, tag, reason, line):
    entry = found.strangers.setdefault((tag, reason), [line, 0])
    entry[1] += 1


def _holds(row, time):
    return (row.from_utc is None or row.from_utc <= time) and (row.to_utc is None or time < row.to_utc)


def read_stamp(text: str, time_format: str | None) -> datetime | None:
    """Return an aware time, a naive one of the wall clock, or None."""
    if time_format:
        try:
            return datetime.strptime(text, time_format)  # noqa: DTZ007  naive where the format has no offset
        except ValueError:
            pass
    if match := ISO.fullmatch(text):
        year, month, day, hour, minute, second, fraction, zulu, sign, off_h, off_m = match.groups()
        try:
            time = datetime(  # noqa: DTZ001  naive where the text has no offset
                int(year), int(month), int(day), int(hour or 0), int(minute or 0), int(second or 0),
                int(((fraction or "") + "000000")[:6]),
            )  # fmt: skip
        except ValueError:
            return None
        if zulu:
            return time.replace(tzinfo=UTC)
        if sign:
            if int(off_h) > 23 or int(off_m or 0) > 59:
                return None
            offset = timedelta(hours=int(off_h), minutes=int(off_m or 0))
            return (time - offset if sign == "+" else time + offset).replace(tzinfo=UTC)
        return time
    if EPOCH.fullmatch(text):
        number = float(text.replace(",", "."))
        seconds = number if abs(number) < 1e11 else number / 1e3
        if abs(seconds) > 1e11:
            return None
        return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=round(seconds * 1e6))
    return None


def to_utc(local: datetime, zone: ZoneInfo) -> tuple[datetime | None, datetime | None]:
    """Return the first (or only) UTC time of a wall-clock time, and the doubled hour it lies in."""
    first = local.replace(tzinfo=zone, fold=0).astimezone(UTC)
    second = local.replace(tzinfo=zone, fold=1).astimezone(UTC)
    if first.astimezone(zone).replace(tzinfo=None) != local:
        return None, None
    return first, (local.replace(minute=0, second=0, microsecond=0) if first != second else None)


def read_quality(text: str, codes: str) -> tuple[str, bool]:
    """Return flag and whether the text is known."""
    word = text.lower()
    if word in ("", "good"):
        return "good", True
    if word in ("uncertain", "bad"):
        return word, True
    if re.fullmatch(r"\d+", text):
        number = int(text)
        if codes == "opc_ua":
            return ["good", "uncertain", "bad", "bad"][number // 2**30], True
        return ("good" if number >= 192 else "uncertain" if number >= 64 else "bad"), True
    return "uncertain", False


def read_value(text: str, row: TagRow) -> tuple[float | None, str | None, str | None]:
    """Return number, text, and why there is neither."""
    kind = SIGNALS[row.signal].kind
    if kind == "text":
        return None, text, None
    state = state_of(text, row.states)
    if state is not None:
        return state, None, None
    if kind == "state" and text.lower() in ("true", "false"):
        number = float(text.lower() == "true")
    else:
        plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
        if NOT_FINITE.fullmatch(plain):
            return None, None, "NaN or infinite"
        if not NUMBER.fullmatch(plain):
            is_state = kind == "state"
            reason = "neither 0 nor 1 nor a state named in tags.csv" if is_state else "text where a number is due"
            return None, None, reason
        number = float(plain)
    value = number * row.conversion.factor + row.conversion.constant
    if not math.isfinite(value):
        return None, None, "NaN or infinite"
    if kind == "state" and value not in (0.0, 1.0):
        return None, None, "neither 0 nor 1 nor a state named in tags.csv"
    return value, None, None


def state_of(text, states):
    """Return what a text stands for: as written, else without case and spaces where that is unambiguous."""
    if text in states:
        return states[text]
    folded = {}
    for key, state in states.items():
        folded.setdefault("".join(key.split()).lower(), set()).add(state)
    matches = folded.get("".join(text.split()).lower(), set())
    return next(iter(matches)) if len(matches) == 1 else None


def _resolve(found, zone):
    """Put rows of a doubled hour's second pass an hour later, where the order of the file tells."""
    local = [row for row in found.kept if row.local is not None]
    by_tag = {}
    for row in local:
        by_tag.setdefault(row.tag, []).append(row)
    told = {}
    for rows in by_tag.values():
        told.update(told_by_order(rows, 0.25))
    whole = told_by_order(local, 0.0)
    for row in local:
        if row.window is None:
            continue
        verdict = told.get(id(row)) or whole.get(id(row))
        if verdict is None:
            found.assumed_first += 1
        elif verdict == 2:
            row.utc = row.local.replace(tzinfo=zone, fold=1).astimezone(UTC)


def told_by_order(rows: list[Kept], max_disorder: float) -> dict[int, int]:
    """Return the pass (1 or 2) of the rows of doubled hours, by id, where their order in the file tells it."""
    forward = backward = equal = 0
    for one, two in pairwise(rows):
        if one.window is not None and one.window == two.window:
            continue
        forward += two.local > one.local
        backward += two.local < one.local
        equal += two.local == one.local
    if min(forward, backward) > max_disorder * (forward + backward):
        return {}
    signs = [1] if forward > backward else [-1] if backward > forward else [1, -1]
    told = {}
    for visit in _visits(rows):
        for sign in signs:
            turns = [
                i
                for i in range(1, len(visit))
                if (visit[i].local - visit[i - 1].local) * sign < timedelta(0)
                or (len(visit) == 2 and not equal and visit[i].local == visit[i - 1].local)
            ]
            if len(turns) == 1:
                for i, row in enumerate(visit):
                    told[id(row)] = 2 if (i >= turns[0]) == (sign > 0) else 1
                break
    return told


def _visits(rows):
    visits, before = [], None
    for row in rows:
        if row.window is not None:
            if row.window == before:
                visits[-1].append(row)
            else:
                visits.append([row])
        before = row.window
    return visits


def _settle(found):
    said = {}
    for row in found.kept:
        said.setdefault((row.tag_id, row.utc), []).append((row.value, row.text, row.flag))
    for (tag_id, utc), all_said in sorted(said.items(), key=lambda item: item[0]):
        distinct = list(dict.fromkeys(all_said))
        last = all_said[-1]
        found.samples.append((tag_id, utc, *last))
        found.losers.extend((tag_id, utc, *one) for one in distinct if one != last)
        found.repeated += len(all_said) - len(distinct)
