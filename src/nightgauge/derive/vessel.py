"""One vessel's derived rows, day by day.

Each day's rows come from the samples of two days before it to one day after it, and from nothing else
but the days already derived. So they are the same to the bit wherever the deriving began, and a day is
final once the next one is over.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta

import polars as pl

from nightgauge.derive.cycles import Evidence, Found, chosen, from_level, from_meter, from_switch
from nightgauge.derive.days import day_row
from nightgauge.derive.facts import cycle_rows, facts
from nightgauge.derive.grid import DAY_US, Day, days
from nightgauge.derive.hours import hour_rows
from nightgauge.derive.known import Readings
from nightgauge.derive.plant import Plant
from nightgauge.derive.pressure import held_pressures
from nightgauge.derive.readings import readings_of, seen
from nightgauge.derive.signal_hours import signal_hours
from nightgauge.field.settings import Field, Vessel
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    SIGNAL_HOURS,
    VESSEL_DAYS,
    VESSEL_HOURS,
    VESSEL_SAMPLES,
    WELL_TESTS,
)  # fmt: skip

CONTEXT = timedelta(days=2)
"""How far before the first row the samples must reach."""
_AHEAD_US = DAY_US
"""How far past a day's end its rows may look, for dumps and loads that end after it. [us]"""


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
    VESSEL_SAMPLES.check(samples)
    readings = readings_of(samples)
    known_days = earlier
    parts: list[Derived] = []
    for day in days(field, start, until):
        part = _one_day(vessel, field, readings, day, known_days)
        known_days = pl.concat([known_days, part.days])
        parts.append(part)
    return Derived(
        DUMP_CYCLES.build(_all([p.cycles for p in parts], DUMP_CYCLES.empty())),
        VESSEL_HOURS.build(_all([p.hours for p in parts], VESSEL_HOURS.empty())),
        VESSEL_DAYS.build(_all([p.days for p in parts], VESSEL_DAYS.empty())),
        SIGNAL_HOURS.build(_all([p.signal_hours for p in parts], SIGNAL_HOURS.empty())),
        WELL_TESTS.build(_all([p.tests for p in parts], WELL_TESTS.empty())),
    )


def _all(parts: list[pl.DataFrame], empty: pl.DataFrame) -> pl.DataFrame:
    return pl.concat([empty, *parts])


def _one_day(
    vessel: Vessel, field: Field, readings: Mapping[str, Readings], day: Day, earlier: pl.DataFrame
) -> Derived:
    outages = [o for o in field.outages if o.vessel == vessel.id]
    window_start = day.start_us - int(CONTEXT.total_seconds()) * 1_000_000
    window_end = min(day.end_us + _AHEAD_US, day.until_us)
    plant = Plant(vessel, field, day, seen(readings, outages, window_start, window_end))
    found = find_dumps(plant)
    known = facts(plant, found)
    hours = hour_rows(plant, found, known)
    cycles = cycle_rows(plant, found, known)
    held = held_pressures(plant, hours, earlier)
    row = pl.DataFrame([day_row(plant, hours, cycles) | held.day])
    signal_rows = [
        signal_hours(vessel.id, plant.seen.readings[name], track, day) for name, track in plant.seen.tracks.items()
    ]
    return Derived(
        cycles,
        VESSEL_HOURS.build(hours.frame.with_columns(**held.hours)),
        VESSEL_DAYS.build(row.fill_nan(None)),
        _all(signal_rows, SIGNAL_HOURS.empty()),
        WELL_TESTS.empty(),
    )


def find_dumps(plant: Plant) -> Found:
    """Return the dumps of the water dump by the best evidence at each time."""
    evidences: list[Evidence] = []
    switch, meter, level = plant.track("water_dump_open"), plant.water_meter, plant.interface
    if switch is not None:
        evidences.append(from_switch(switch))
    if meter is not None:
        evidences.append(from_meter(meter, plant.raw_unit(meter.signal)))
    if level is not None:
        evidences.append(from_level(level, plant.dump, None if plant.shell is None else plant.shell.height_m))
    if plant.is_throttling:
        return Found.without_dumps(evidences)
    return chosen(evidences)
