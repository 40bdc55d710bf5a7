"""One vessel's derived rows, day by day.

Each day's rows come from the samples of two days before it to one day after it, and from nothing else
but the days already derived. So they are the same to the bit wherever the deriving began, and a day is
final once the next one is over.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from nightgauge.derive.cycles import Found, chosen, from_switch
from nightgauge.derive.days import day_row
from nightgauge.derive.facts import cycle_columns, facts
from nightgauge.derive.grid import DAY_US, Day, days
from nightgauge.derive.hours import hour_columns
from nightgauge.derive.known import Readings
from nightgauge.derive.level_dumps import from_level
from nightgauge.derive.meter_dumps import from_meter
from nightgauge.derive.past import Past
from nightgauge.derive.plant import Plant
from nightgauge.derive.pressure import held_pressures
from nightgauge.derive.readings import readings_of, seen
from nightgauge.derive.signal_hours import signal_hours
from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.tables import Table, build
from nightgauge.derive.well_tests import well_tests
from nightgauge.field.settings import Field, Vessel
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    SIGNAL_HOURS,
    VESSEL_DAYS,
    VESSEL_HOURS,
    VESSEL_SAMPLES,
    WELL_TESTS,
)

CONTEXT = timedelta(days=2)
"""How far before the first row the samples must reach."""
_AHEAD_US = DAY_US
"""How far past a day's end its rows may look, for dumps and loads that end after it. [us]"""


@dataclass(frozen=True)
class DayRows:
    """What one day of one vessel gave: columns, and for the day itself its one row."""

    cycles: Table
    hours: Table
    day: Mapping[str, object]
    signal_hours: Sequence[Table]
    tests: Table


def derive_vessel(
    vessel: Vessel, field: Field, samples: pl.DataFrame, start: datetime, until: datetime, earlier: pl.DataFrame
) -> Derived:
    """Return everything derived from one vessel's samples over [start, until).

    Parameters
    ----------
    vessel : Vessel
        Settings of the vessel.
    field : Field
        The field it stands in: zone, outages, tags, atmospheric pressure.
    samples : VESSEL_SAMPLES
        From `CONTEXT` before `start` up to `until`, in any order.
    start : datetime
        A midnight of the field.
    until : datetime
        Nothing at or after it is looked at.
    earlier : VESSEL_DAYS
        Days before `start`, for the loads that are this vessel's reference.

    Returns
    -------
    Derived
        Rows that begin in [start, until), each frame in its order.

    """
    return gathered(derive_days(vessel, field, samples, Stretch(start, until, until), earlier))


@dataclass(frozen=True)
class Stretch:
    """The days to derive, and up to when samples may be looked at for them."""

    start: datetime
    """A midnight of the field."""
    end: datetime
    """A midnight of the field, or `until`."""
    until: datetime


def derive_days(
    vessel: Vessel, field: Field, samples: pl.DataFrame, stretch: Stretch, earlier: pl.DataFrame
) -> list[DayRows]:
    """Return the rows of each day of a stretch, to be gathered with those of other vessels.

    Parameters
    ----------
    vessel, field, earlier
        As for `derive_vessel`.
    samples : VESSEL_SAMPLES
        From `CONTEXT` before the stretch up to its `until`.
    stretch : Stretch
        Which days.

    """
    VESSEL_SAMPLES.check(samples)
    readings = readings_of(samples)
    past = Past.of(earlier)
    parts: list[DayRows] = []
    for day in days(field, stretch.start, stretch.until):
        if day.start < stretch.end:
            parts.append(_one_day(vessel, field, readings, day, past))
            past = past.and_then(parts[-1].day)
    return parts


def gathered(parts: Sequence[DayRows]) -> Derived:
    """Return the rows of days, of one vessel or several, as frames: one frame is far cheaper to build than many."""
    return Derived(
        build(DUMP_CYCLES, [p.cycles for p in parts]),
        build(VESSEL_HOURS, [p.hours for p in parts]),
        build(VESSEL_DAYS, [{name: [value] for name, value in p.day.items()} for p in parts]),
        build(SIGNAL_HOURS, [rows for p in parts for rows in p.signal_hours]),
        build(WELL_TESTS, [p.tests for p in parts]),
    )


def _one_day(vessel: Vessel, field: Field, readings: Mapping[str, Readings], day: Day, past: Past) -> DayRows:
    outages = [o for o in field.outages if o.vessel == vessel.id]
    window_start = day.start_us - int(CONTEXT.total_seconds()) * SECOND_US
    window_end = min(day.end_us + _AHEAD_US, day.until_us)
    plant = Plant(vessel, field, day, seen(readings, outages, window_start, window_end))
    found = find_dumps(plant)
    known = facts(plant, found)
    hours = hour_columns(plant, found, known)
    cycles = cycle_columns(plant, found, known)
    held = held_pressures(plant, hours, past)
    return DayRows(
        cycles,
        hours.columns | held.hours,
        day_row(plant, hours, cycles) | held.day,
        [
            signal_hours(plant, track, hours.cuts.by_signal[name], hours.cuts.known_s(name))
            for name, track in plant.seen.tracks.items()
        ],
        well_tests(plant, hours),
    )


def find_dumps(plant: Plant) -> Found:
    """Return the dumps of the water dump by the best evidence at each time."""
    switch, meter, level = plant.track("water_dump_open"), plant.water_meter, plant.interface
    if plant.is_throttling:
        return Found.without_dumps(t for t in (switch, meter, level, plant.track("water_dump_position")) if t)
    height_m = None if plant.shell is None else plant.shell.height_m
    evidences = [
        *([from_switch(switch)] if switch is not None else []),
        *([from_meter(meter, plant.counted(meter))] if meter is not None else []),
        *([from_level(level, plant.dump, height_m)] if level is not None else []),
    ]
    return chosen(evidences)
