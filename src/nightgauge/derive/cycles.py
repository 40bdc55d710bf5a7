"""When the water dump opened and shut, by three ways of evidence: switch, meter, level.

Each way uses only its own signal. Where several are known at a time, the switch goes before the meter
and the meter before the level.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nightgauge.derive.bursts import bursts
from nightgauge.derive.known import SECOND_US, Flags, Indices, Times, Track, joined, union
from nightgauge.derive.totals import Counted, counted, summed
from nightgauge.derive.turning import noise, turns
from nightgauge.field.settings import WaterDump

UNSEEN = -1
"""Stands for an opening or shutting that was not seen."""

Span = tuple[Times, Times]

_BRIDGE_US = 120 * SECOND_US
"""A switch that says the same before and after so short a gap said so all along. House choice: two slow scans."""
_BOUNCE_US = 3 * SECOND_US
"""A valve cannot shut and open again within this: a contact that says so bounced. House choice: one stroke."""


@dataclass(frozen=True)
class Dumps:
    """Dumps in order of time; `UNSEEN` where the opening or the shutting was not seen."""

    opened_us: Times
    shut_us: Times

    @property
    def size(self) -> int:
        """Return how many there are."""
        return int(self.opened_us.size)

    def chosen(self, which: Flags | Indices) -> "Dumps":
        """Return some of them."""
        return Dumps(self.opened_us[which], self.shut_us[which])


@dataclass(frozen=True)
class Evidence:
    """The dumps that one signal shows, and the intervals in which it would have shown them."""

    name: str
    dumps: Dumps
    known: Span


_NO_TIMES = np.zeros(0, dtype=np.int64)
NO_DUMPS = Dumps(_NO_TIMES, _NO_TIMES)


def from_switch(track: Track) -> Evidence:
    """Return the dumps that an open/shut switch shows: openings and shuttings as they were reported."""
    open_now = track.start_value >= 0.5
    start, end = track.start_us, track.end_us
    if start.size == 0:
        return Evidence("switch", NO_DUMPS, (_NO_TIMES, _NO_TIMES))
    follows = np.append(False, start[1:] - end[:-1] <= _BRIDGE_US)
    head = np.flatnonzero(~follows | np.append(True, open_now[1:] != open_now[:-1]))
    is_open, since, seen = open_now[head], start[head], follows[head]
    goes_on = np.append(seen[1:], False)
    opened = np.where(seen[is_open], since[is_open], UNSEEN)
    shut = np.where(goes_on, np.append(since[1:], 0), UNSEEN)[is_open]
    return Evidence("switch", _without_bounce(Dumps(opened, shut)), joined(start, end))


def _without_bounce(dumps: Dumps) -> Dumps:
    if dumps.size < 2:
        return dumps
    shut_for = dumps.opened_us[1:] - dumps.shut_us[:-1]
    bounced = (dumps.opened_us[1:] != UNSEEN) & (dumps.shut_us[:-1] != UNSEEN) & (shut_for <= _BOUNCE_US)
    return Dumps(dumps.opened_us[np.append(True, ~bounced)], dumps.shut_us[np.append(~bounced, True)])


def meter_of(track: Track, raw_unit: float = 0.0) -> Counted:
    """Return what an outlet meter counted, from a totaliser or from a rate."""
    if track.hold == "step":
        return counted(track, raw_unit)
    spacing = np.diff(track.time_us)
    scan_us = int(np.quantile(spacing, 0.05)) if spacing.size else SECOND_US
    return summed(track, scan_us)


def from_meter(track: Track, raw_unit: float = 0.0) -> Evidence:
    """Return the dumps that an outlet meter shows: bursts of flow between its own high and low level."""
    metered = meter_of(track, raw_unit)
    found = bursts(metered)
    known = joined(track.start_us, track.end_us)
    if found is None:
        return Evidence("meter", NO_DUMPS, (_NO_TIMES, _NO_TIMES))
    shut = found.end_us.copy()
    if found.running and shut.size:
        shut[-1] = UNSEEN
    return Evidence("meter", Dumps(found.start_us, shut), known)


def from_level(track: Track, dump: WaterDump) -> Evidence:
    """Return the dumps that the level shows: falls between its turning points."""
    known = joined(track.start_us, track.end_us)
    opened, shut = [_NO_TIMES], [_NO_TIMES]
    prominence = _prominence(track, dump)
    for start, end in zip(*known, strict=True):
        low, high = np.searchsorted(track.time_us, [start, end + 1])
        time, level = track.time_us[low:high], track.value[low:high]
        found = turns(level, prominence)
        opened.append(time[found.peak])
        shut.append(np.where(found.trough >= 0, time[found.trough], UNSEEN))
    return Evidence("level", Dumps(np.concatenate(opened), np.concatenate(shut)), known)


def _prominence(track: Track, dump: WaterDump) -> float:
    """Return by how much the level has to fall for a dump.

    Six standard deviations of the noise are practically never passed by noise alone; the share of the gap keeps
    slugs' waves out where the noise is small, and half the gap is the most that may be asked of a dump.
    """
    sigma = noise(track.value, track.time_us)
    if dump.opens_at_m is not None and dump.closes_at_m is not None:
        gap = dump.opens_at_m - dump.closes_at_m
        return float(np.clip(6.0 * sigma, 0.2 * gap, 0.5 * gap))
    if track.value.size == 0:
        return 1.0
    low, high = np.quantile(track.value, [0.01, 0.99])
    return float(max(6.0 * sigma, 0.3 * (high - low), 1e-6))


@dataclass(frozen=True)
class Found:
    """The dumps of a vessel by the best evidence at each time, in order of opening."""

    dumps: Dumps
    evidence: tuple[str, ...]
    known: Span
    """When at least one evidence was known."""

    @staticmethod
    def without_dumps(evidences: Sequence[Evidence]) -> "Found":
        """Return that a vessel whose dump throttles has no dumps, known whenever a signal would tell."""
        return Found(NO_DUMPS, (), chosen(evidences).known)


def chosen(evidences: Sequence[Evidence]) -> Found:
    """Return the dumps of the best evidence at each time; the sequence is best first."""
    parts: list[tuple[Dumps, str]] = []
    covered: Span = (_NO_TIMES, _NO_TIMES)
    for one in evidences:
        fresh = one.dumps.chosen(~_touches(one.dumps, covered))
        parts.append((fresh, one.name))
        covered = union(covered, one.known)
    opened = np.concatenate([dumps.opened_us for dumps, _ in parts] or [_NO_TIMES])
    shut = np.concatenate([dumps.shut_us for dumps, _ in parts] or [_NO_TIMES])
    names = [name for dumps, name in parts for _ in range(dumps.size)]
    order = np.argsort(np.where(opened == UNSEEN, shut, opened), kind="stable")
    return Found(Dumps(opened[order], shut[order]), tuple(names[k] for k in order), covered)


def _touches(dumps: Dumps, covered: Span) -> Flags:
    """Return which dumps lie, at their opening or shutting, where better evidence is known."""
    opened = np.where(dumps.opened_us == UNSEEN, dumps.shut_us, dumps.opened_us)
    shut = np.where(dumps.shut_us == UNSEEN, dumps.opened_us, dumps.shut_us)
    return inside(opened, covered) | inside(shut, covered)


def inside(when_us: Times, span: Span) -> Flags:
    """Return which times lie in sorted, disjoint intervals."""
    start, end = span
    if start.size == 0:
        return np.zeros(when_us.shape, dtype=bool)
    i = np.searchsorted(start, when_us, side="right") - 1
    return np.asarray((i >= 0) & (when_us < end[np.maximum(i, 0)]))
