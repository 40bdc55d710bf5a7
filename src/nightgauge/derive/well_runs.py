"""When which well was on a test vessel: by the signal, by the schedule, by the header's routing.

A run of more than a day counts once per day of the field. Where the signal is known it wins over the lists.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import chain

import numpy as np

from nightgauge.derive.grid import DAY_US
from nightgauge.derive.known import Track
from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import joined
from nightgauge.field.calendar import day_bounds
from nightgauge.field.settings import Field, Vessel

_FOR_GOOD_US = np.iinfo(np.int64).max
_SIGNAL_WINS = 0.5
"""Share of a run in which `well_on_test` has to be known to be believed instead of the lists. House choice: the
greater half."""


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


@dataclass(frozen=True)
class _Stretch:
    start_us: int
    end_us: int
    well: str
    source: str


def runs_of(plant: Plant) -> list[Run]:
    """Return the runs that begin on the plant's day, and the day's part of those that have lasted for a day already."""
    track = plant.track("well_on_test")
    listed = [one for one in _listed(plant) if track is None or not _is_known(track, one, plant.seen.end_us)]
    stretches = chain(_signalled(track), listed)
    runs = (run for one in stretches if (run := _run(plant, one)) is not None)
    return sorted(runs, key=lambda run: (run.start_us, run.well))


def _signalled(track: Track | None) -> Iterator[_Stretch]:
    if track is None:
        return
    for code, label in enumerate(track.labels):
        mine = track.start_value == code
        starts, ends = joined(track.start_us[mine], track.end_us[mine])
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            yield _Stretch(start, end, label, "well_on_test")


def _listed(plant: Plant) -> list[_Stretch]:
    """Return the schedule's stretches, and those of the routing that no line of the schedule touches."""
    tests = [
        _Stretch(to_us(one.start_utc), to_us(one.end_utc), one.well, "tests")
        for one in plant.field.tests
        if one.vessel == plant.vessel.id
    ]
    routed = [
        one
        for one in routed_stretches(plant.field, plant.vessel)
        if not any(test.start_us < one.end_us and one.start_us < test.end_us for test in tests)
    ]
    return [*tests, *routed]


def routed_stretches(field: Field, vessel: Vessel) -> list[_Stretch]:
    """Return when one well alone was routed to a test vessel: from its line to its next, or another's to there."""
    if vessel.service != "test vessel":
        return []
    found = []
    for at, line in enumerate(field.routings):
        if line.vessel == vessel.id:
            after = (later for later in field.routings[at + 1 :] if later.at_utc > line.at_utc)
            ends = (later.at_utc for later in after if later.well == line.well or later.vessel == vessel.id)
            end = next(ends, None)
            found.append(
                _Stretch(to_us(line.at_utc), _FOR_GOOD_US if end is None else to_us(end), line.well, "routing")
            )
    return found


def _is_known(track: Track, one: _Stretch, seen_us: int) -> bool:
    """Return whether the signal itself is known for most of a listed stretch, up to what is seen."""
    end_us = min(one.end_us, seen_us)
    known = track.known_us(np.array([one.start_us]), np.array([end_us]))[0]
    return bool(known > _SIGNAL_WINS * (end_us - one.start_us))


def _run(plant: Plant, one: _Stretch) -> Run | None:
    day, seen_us = plant.day, plant.seen.end_us
    midnight_after_next = to_us(day_bounds(plant.field.zone, day.date + timedelta(days=1))[1])
    end_us = min(one.end_us, seen_us)
    if day.start_us <= one.start_us < day.end_us:
        until = min(end_us, midnight_after_next)
        running = until == seen_us < midnight_after_next
        return Run(one.start_us, until, one.well, one.source, was_turned_in=True, is_running=running)
    if one.start_us <= day.start_us - DAY_US and end_us > day.start_us:
        until = min(end_us, day.end_us)
        running = until == day.until_us
        return Run(day.start_us, until, one.well, one.source, was_turned_in=False, is_running=running)
    return None


def overlapping(runs: Iterable[Run], well: str, start_us: int, end_us: int) -> list[Run]:
    """Return the runs of a well that share time with a stretch."""
    return [run for run in runs if run.well == well and run.start_us < end_us and start_us < run.end_us]
