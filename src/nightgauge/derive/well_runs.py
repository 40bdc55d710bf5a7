"""When which well was on a test vessel: by the signal, by the schedule, by the header's routing.

A run of more than a day counts once per day of the field. Over the same time the signal wins over the schedule, and
the schedule over the routing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import reduce

import numpy as np

from nightgauge.derive.grid import DAY_US, HOUR_US
from nightgauge.derive.known import Track
from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import Span, complement, joined, union
from nightgauge.field.calendar import day_bounds
from nightgauge.field.turns import Turn, routed, scheduled

_LEAST_REST_US = 3 * HOUR_US
"""What must be left of a listed turn for a run of its own, where a better source tells of the rest. House choice: the
least purge and the least steady time; less is the edge of the other run."""
_DISAGREES = 0.5
"""Share of a run by the signal that the schedule has to give to another well for the two to disagree. House choice: the
greater half; schedules are kept to the hour at best, and their edges lie beside the run's."""
_NOTHING: Span = (np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))


@dataclass(frozen=True)
class Run:
    """One stretch of one well on the vessel, or a day's part of a long one."""

    start_us: int
    end_us: int
    well: str
    source: str
    """well_on_test, tests or routing."""
    was_turned_in: bool
    """Whether the run began here; false where it goes on from the day before."""
    is_running: bool
    over_us: int
    """End of the whole stretch, as far as it is seen."""
    beside: str | None = None
    """Another well that the same list has on the vessel meanwhile."""
    against: str | None = None
    """The well that the schedule has on the vessel instead of the one that the signal has."""


@dataclass(frozen=True)
class Stretch:
    """One stretch of one well on the vessel."""

    start_us: int
    end_us: int
    well: str
    source: str


def runs_of(plant: Plant) -> list[Run]:
    """Return the runs that begin on the plant's day, and the day's part of those that have lasted for a day already."""
    runs = (run for one in stretches_of(plant) if (run := _run(plant, one)) is not None)
    tests = _tests(plant)
    listed = [*tests, *_routings(plant)]
    told = (replace(run, beside=_beside(run, listed), against=_against(run, tests)) for run in runs)
    return sorted(told, key=lambda run: (run.start_us, run.well))


def stretches_of(plant: Plant) -> list[Stretch]:
    """Return every stretch of a well on the vessel that is seen on the plant's day."""
    track = plant.track("well_on_test")
    signalled = _NOTHING if track is None else joined(track.start_us, track.end_us)
    tests = _tests(plant)
    planned = reduce(union, (_span(one) for one in tests), signalled)
    return [
        *_signalled(track),
        *(rest for one in tests for rest in _rests(one, signalled)),
        *(rest for one in _routings(plant) for rest in _rests(one, planned)),
    ]


def _tests(plant: Plant) -> list[Stretch]:
    return _seen(plant, scheduled(plant.field, plant.vessel.id))


def _routings(plant: Plant) -> list[Stretch]:
    return _seen(plant, routed(plant.field, plant.vessel))


def _signalled(track: Track | None) -> Iterator[Stretch]:
    if track is None:
        return
    for code, label in enumerate(track.labels):
        mine = track.start_value == code
        starts, ends = joined(track.start_us[mine], track.end_us[mine])
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            yield Stretch(start, end, label, "well_on_test")


def _seen(plant: Plant, turns: Sequence[Turn]) -> list[Stretch]:
    """Return the turns of one list up to what is seen."""
    return [
        Stretch(to_us(turn.start_utc), _end_us(plant, turn), turn.well, turn.source)
        for turn in turns
        if to_us(turn.start_utc) < plant.seen.end_us
    ]


def _end_us(plant: Plant, turn: Turn) -> int:
    return plant.seen.end_us if turn.end_utc is None else min(to_us(turn.end_utc), plant.seen.end_us)


def _beside(run: Run, listed: Sequence[Stretch]) -> str | None:
    """Return another well that the list of a run has on the vessel at its time."""
    wells = (
        other.well
        for other in listed
        if (other.source == run.source and other.well != run.well)
        and (other.start_us < run.end_us and run.start_us < other.end_us)
    )
    return min(wells, default=None)


def _against(run: Run, tests: Sequence[Stretch]) -> str | None:
    """Return another well that the schedule has on the vessel for most of a run that the signal tells."""
    if run.source != "well_on_test":
        return None
    shared: dict[str, int] = {}
    for one in tests:
        overlap_us = min(run.end_us, one.end_us) - max(run.start_us, one.start_us)
        shared[one.well] = shared.get(one.well, 0) + max(overlap_us, 0)
    most = max(sorted(shared), key=lambda well: shared[well], default=run.well)
    is_most = most != run.well and shared[most] > _DISAGREES * (run.end_us - run.start_us)
    return most if is_most else None


def _span(one: Stretch) -> Span:
    return np.array([one.start_us], dtype=np.int64), np.array([one.end_us], dtype=np.int64)


def _rests(one: Stretch, told: Span) -> Iterator[Stretch]:
    """Yield what a better source leaves of a stretch."""
    starts, ends = complement(told, one.start_us, one.end_us)
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if (start, end) == (one.start_us, one.end_us) or end - start >= _LEAST_REST_US:
            yield replace(one, start_us=start, end_us=end)


def _run(plant: Plant, one: Stretch) -> Run | None:
    day, seen_us = plant.day, plant.seen.end_us
    midnight_after_next = to_us(day_bounds(plant.field.zone, day.date + timedelta(days=1))[1])
    if day.start_us <= one.start_us < day.end_us:
        until, turned_in = min(one.end_us, midnight_after_next), True
        running = until == seen_us < midnight_after_next
        start = one.start_us
    elif one.start_us <= day.start_us - DAY_US and one.end_us > day.start_us:
        until, turned_in = min(one.end_us, day.end_us), False
        running = until == day.until_us
        start = day.start_us
    else:
        return None
    return Run(start, until, one.well, one.source, turned_in, running, one.end_us)
