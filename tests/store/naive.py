"""The store's merge as the field format words it, row by row over dictionaries; slow and plain on purpose."""

from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

RawRow = tuple[int, float, float | None, str]
"""tag_id, minute, value, flag: one row of an export, in file order."""
Said = tuple[float | None, str]
"""value, flag."""
Key = tuple[int, float]


@dataclass
class NaiveStore:
    """What is stored, and what the last file did to it."""

    stored: dict[Key, Said] = field(default_factory=dict)
    changed: set[Key] = field(default_factory=set)

    def land(self, rows: Sequence[RawRow]) -> Counter[str]:
        """Take a file's rows in order; return its counts."""
        before = dict(self.stored)
        last = {(tag, minute): (value, flag) for tag, minute, value, flag in rows}
        counts: Counter[str] = Counter(read=len(rows))
        seen: set[tuple[Key, Said]] = set()
        for tag, minute, value, flag in rows:
            key, said = (tag, minute), (value, flag)
            if (key, said) in seen or before.get(key) == said:
                counts["repeated"] += 1
            elif last[key] == said:
                counts["stored"] += 1
                counts["overwrote"] += key in before
                counts["uncertain"] += flag == "uncertain"
                self.changed.add(key)
            else:
                counts["replaced"] += 1
            seen.add((key, said))
        self.stored |= last
        return counts


def taken_apart(rows: Iterable[RawRow]) -> dict[str, Any]:
    """Return a file's rows as reading it hands them on: final rows, displaced ones, repetitions."""
    last: dict[Key, Said] = {}
    every: dict[tuple[Key, Said], None] = {}
    repeated = 0
    for tag, minute, value, flag in rows:
        key, said = (tag, minute), (value, flag)
        repeated += (key, said) in every
        every[key, said] = None
        last[key] = said
    displaced = [(*key, *said) for key, said in every if last[key] != said]
    return {"rows": [(*key, *said) for key, said in last.items()], "losers": displaced, "repeated": repeated}


def ranges_of(
    changed: Mapping[Hashable, Iterable[datetime]], gap: Any, tick: Any
) -> list[tuple[Any, datetime, datetime]]:
    """Return each vessel's changed times as ranges, a new one wherever the next time lies further off than the gap."""
    found: list[tuple[Any, datetime, datetime]] = []
    for vessel in sorted(changed, key=str):
        for time in sorted(changed[vessel]):
            if found and found[-1][0] == vessel and time - found[-1][2] <= gap:
                found[-1] = (vessel, found[-1][1], time + tick)
            else:
                found.append((vessel, time, time + tick))
    return found


def from_scratch(
    files: Iterable[Sequence[Any]], read: Callable[[Any], tuple[Hashable, Any] | None]
) -> dict[Hashable, Any]:
    """Return what all files leave, read in order with one table of tags; `read` gives key and value, or None."""
    stored: dict[Hashable, Any] = {}
    for rows in files:
        stored |= dict(found for row in rows if (found := read(row)) is not None)
    return stored
