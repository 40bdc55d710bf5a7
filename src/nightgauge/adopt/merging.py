"""A second draft over files that people have changed: what they changed stays, what they left alone is drafted anew.

Three texts decide: what was drafted last time, what stands there now, what is drafted now. A line that stands as it
was drafted is the machine's; any other is a person's. What was drafted and is gone has been taken out and stays out.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence

_HEAD = re.compile(r"^\[+\s*(?P<table>[\w.]+)\s*\]+")
_KEY = re.compile(r"^(?P<blank># )?(?P<key>\w+) = ")
_ID = re.compile(r'^id = "(?P<id>.*)"')

Place = tuple[str, str, str]


def merged_tags(last: str, now: str, new: str) -> str:
    r"""Return tags.csv: rows that people changed, added or took out as they left them, all others as drafted now.

    Examples
    --------
    >>> last = "tag,vessel\nA,V-1\nB,V-1\n"
    >>> print(merged_tags(last, "tag,vessel\nA,V-9\nB,V-1\n", "tag,vessel\nA,V-1\nB,V-2\nC,V-2\n"), end="")
    tag,vessel
    A,V-9
    B,V-2
    C,V-2

    """
    before, drafted = _rows_by_tag(last), _rows_by_tag(new)
    header, present = _rows(now)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    kept = set()
    for row in present:
        tag = row.get("tag", "")
        is_ours = before.get(tag) == row and [one.get("tag") for one in present].count(tag) == 1
        chosen = drafted.get(tag) if is_ours else row
        kept.add(tag)
        if chosen is not None:
            writer.writerow([chosen.get(column, "") for column in header])
    for tag, row in drafted.items():
        if tag not in kept and tag not in before:
            writer.writerow([row.get(column, "") for column in header])
    return out.getvalue()


def written_vessels(last: str, now: str) -> dict[str, str]:
    """Return vessel by tag as people have it now; all of it, for what they left alone they have accepted."""
    del last
    return {tag: row["vessel"] for tag, row in _rows_by_tag(now).items() if row.get("vessel")}


def _rows(text: str) -> tuple[list[str], list[dict[str, str]]]:
    reader = csv.DictReader(io.StringIO(text))
    rows = [{key: value or "" for key, value in row.items() if key} for row in reader]
    return list(reader.fieldnames or ()), rows


def _rows_by_tag(text: str) -> dict[str, dict[str, str]]:
    return {row["tag"]: row for row in _rows(text)[1] if row.get("tag")}


def merged_toml(last: str, now: str, new: str) -> str:
    """Return field.toml: lines that people changed, added or took out as they left them, all others as drafted now."""
    before, drafted = dict(_placed(last)), dict(_placed(new))
    present = _placed(now)
    standing = {place for place, _ in present}
    last_of = {place[:2]: at for at, (place, _) in enumerate(present) if place[2]}
    lines: list[str] = []
    for at, (place, line) in enumerate(present):
        ours = before.get(place) == line
        lines += [drafted.get(place, line)] if ours and place[2] else [line]
        if last_of.get(place[:2]) == at:
            lines += [
                text
                for other, text in drafted.items()
                if other[:2] == place[:2] and other[2] and other not in standing and other not in before
            ]
    known = {place[0] for place in (*before, *standing)}
    fresh = [line for place, line in _placed(new) if place[0] not in known]
    return "\n".join([*lines, *([""] if fresh else []), *fresh]) + "\n"


def _placed(text: str) -> list[tuple[Place, str]]:
    """Return each line with its place: the vessel or well it belongs to, the table, and the key, "" for other lines."""
    lines = text.rstrip("\n").split("\n")
    owners = _owners(lines)
    table, out = "", []
    for line, owner in zip(lines, owners, strict=True):
        head = _HEAD.match(line)
        if head:
            table = head["table"]
            out.append(((owner, table, "["), line))
            continue
        key = _KEY.match(line)
        out.append(((owner, table, key["key"] if key else ""), line))
    return out


def _owners(lines: Sequence[str]) -> list[str]:
    """Return for each line the block it stands in: "" before the first, else kind and id."""
    starts: Mapping[int, str] = {
        at: head["table"] for at, line in enumerate(lines)
        if line.startswith("[[") and (head := _HEAD.match(line)) and "." not in head["table"]
    }  # fmt: skip
    owners, owner = [], ""
    for at, _ in enumerate(lines):
        if at in starts:
            ends = min((other for other in starts if other > at), default=len(lines))
            found = next((match["id"] for line in lines[at:ends] if (match := _ID.match(line))), str(at))
            owner = f"{starts[at]} {found}"
        owners.append(owner)
    return owners
