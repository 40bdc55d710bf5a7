"""When the water dump opened and shut, by three ways of evidence: switch, meter, level.

Each way uses only its own signal. Where several are known at a time, the switch goes before the meter
and the meter before the level.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from nightgauge.derive.dumps import ENOUGH, MOSTLY, NO_DUMPS, NO_TIMES, UNSEEN, Dumps, Evidence
from nightgauge.derive.known import Track
from nightgauge.derive.spans import SECOND_US, Flags, Span, inside, joined, union

_BRIDGE_US = 120 * SECOND_US
"""A switch that says the same before and after so short a gap said so all along. House choice: two slow scans."""
_BOUNCE_US = 3 * SECOND_US
"""A valve cannot shut and open again within this: a contact that says so bounced. House choice: one stroke."""


def from_switch(track: Track) -> Evidence:
    """Return the dumps that an open/shut switch shows: openings and shuttings as they were reported."""
    open_now = track.start_value >= 0.5
    start, end = track.start_us, track.end_us
    if start.size == 0:
        return Evidence("switch", NO_DUMPS, (NO_TIMES, NO_TIMES))
    follows = np.append(False, start[1:] - end[:-1] <= _BRIDGE_US)
    head = np.flatnonzero(~follows | np.append(True, open_now[1:] != open_now[:-1]))
    is_open, since, seen = open_now[head], start[head], follows[head]
    goes_on = np.append(seen[1:], False)
    opened = np.where(seen[is_open], since[is_open], UNSEEN)
    shut = np.where(goes_on, np.append(since[1:], 0), UNSEEN)[is_open]
    scan_us = np.where(seen, since - start[np.maximum(head - 1, 0)], 0)[is_open]
    late = np.where(scan_us <= _BRIDGE_US, scan_us, 0)
    dumps = _without_bounce(Dumps(opened, shut, late))
    return Evidence("switch", dumps, joined(start, end), misses=_misses(dumps))


def _misses(dumps: Dumps) -> bool:
    """Return whether a scanned switch mostly saw one scan of each dump, or of each fill: then it missed others."""
    scan = dumps.late_us[1:]
    seen = (dumps.opened_us != UNSEEN)[1:] & (dumps.shut_us[1:] != UNSEEN) & (dumps.shut_us[:-1] != UNSEEN) & (scan > 0)
    if np.count_nonzero(seen) < ENOUGH:
        return False
    open_us, shut_us = (dumps.shut_us - dumps.opened_us)[1:], dumps.opened_us[1:] - dumps.shut_us[:-1]
    return any(bool(np.mean(time[seen] < 1.5 * scan[seen]) > MOSTLY) for time in (open_us, shut_us))


def _without_bounce(dumps: Dumps) -> Dumps:
    if dumps.size < 2:
        return dumps
    shut_for = dumps.opened_us[1:] - dumps.shut_us[:-1]
    bounced = (dumps.opened_us[1:] != UNSEEN) & (dumps.shut_us[:-1] != UNSEEN) & (shut_for <= _BOUNCE_US)
    first = np.append(True, ~bounced)
    return Dumps(dumps.opened_us[first], dumps.shut_us[np.append(~bounced, True)], dumps.late_us[first])


@dataclass(frozen=True)
class Found:
    """The dumps of a vessel by the best evidence at each time, in order of opening."""

    dumps: Dumps
    evidence: tuple[str, ...]
    known: Span
    """When at least one evidence was known."""
    leading: str = ""
    """The evidence that goes before the others."""

    @staticmethod
    def without_dumps(tracks: Iterable[Track]) -> "Found":
        """Return that a vessel whose dump throttles has no dumps, known whenever one of its signals is."""
        known: Span = (NO_TIMES, NO_TIMES)
        for track in tracks:
            known = union(known, joined(track.start_us, track.end_us))
        return Found(NO_DUMPS, (), known)


def chosen(evidences: Sequence[Evidence]) -> Found:
    """Return the dumps of the best evidence at each time; the sequence is best first."""
    parts: list[Evidence] = []
    covered: Span = (NO_TIMES, NO_TIMES)
    for one in sorted(evidences, key=lambda e: e.misses):
        parts.append(Evidence(one.name, one.dumps.chosen(~_touches(one.dumps, covered)), one.known))
        covered = union(covered, one.known)
    opened = np.concatenate([NO_TIMES, *(one.dumps.opened_us for one in parts)])
    shut = np.concatenate([NO_TIMES, *(one.dumps.shut_us for one in parts)])
    late = np.concatenate([NO_TIMES, *(one.dumps.late_us for one in parts)])
    names = [one.name for one in parts for _ in range(one.dumps.size)]
    order = np.argsort(np.where(opened == UNSEEN, shut, opened), kind="stable")
    leading = parts[0].name if parts else ""
    return Found(Dumps(opened, shut, late).chosen(order), tuple(names[k] for k in order), covered, leading)


def _touches(dumps: Dumps, covered: Span) -> Flags:
    """Return which dumps lie, at their opening or shutting, where better evidence is known."""
    opened = np.where(dumps.opened_us == UNSEEN, dumps.shut_us, dumps.opened_us)
    shut = np.where(dumps.shut_us == UNSEEN, dumps.opened_us, dumps.shut_us)
    return inside(opened, covered) | inside(shut, covered)
