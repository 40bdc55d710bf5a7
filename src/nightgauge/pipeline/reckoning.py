"""Reckoning: what vessels can take, what pressure and carryover cost, what is left of anodes, as of a night.

All of it is made from derived rows and settings. Capacity and anodes are replaced whole; the daily tables
from the first day on that this night may have changed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import polars as pl

from nightgauge.capacity import capacities
from nightgauge.derive.anodes import anode_status
from nightgauge.field.settings import Field
from nightgauge.losses import WaterCuts, back_pressure, carryover
from nightgauge.pipeline.groups import in_groups
from nightgauge.pipeline.telling import Tell, silent
from nightgauge.store import Reader, Store, Writer
from nightgauge.vocabulary.frames import (
    ANODES,
    BACK_PRESSURE,
    CARRYOVER,
    FIRST_TIME,
    VESSEL_CAPACITY,
    VESSEL_DAYS,
)
from nightgauge.vocabulary.signals import of_part

PAST = timedelta(days=35)
"""Days reckoned anew each night. House choice: the four weeks that capacity is told by, and one to spare."""
_READ = {
    "days": tuple(VESSEL_DAYS.schema),
    "signal_hours": ("vessel", "signal", "hour_utc", "coverage", "mean"),
}
"""The columns that serve."""


@dataclass(frozen=True)
class Reckoned:
    """What one night reckons."""

    capacity: pl.DataFrame
    back_pressure: pl.DataFrame
    carryover: pl.DataFrame
    anodes: pl.DataFrame
    first_day: date | None
    """First day of the daily tables; None where they are of all days."""
    failed: Mapping[str, str]
    """Vessel id to what went wrong."""

    @property
    def rows(self) -> int:
        """Return how many rows there are in all tables together."""
        return sum(table.height for table in (self.capacity, self.back_pressure, self.carryover, self.anodes))

    def save(self, writer: Writer) -> None:
        """Put the tables in the place of those stored, within the caller's transaction."""
        writer.save_reckoned(VESSEL_CAPACITY, self.capacity)
        writer.save_reckoned(BACK_PRESSURE, self.back_pressure, self.first_day)
        writer.save_reckoned(CARRYOVER, self.carryover, self.first_day)
        writer.save_reckoned(ANODES, self.anodes)


def reckon(field_: Field, store: Store, since: datetime | None, until: datetime, tell: Tell = silent) -> Reckoned:
    """Return the tables as of `until`.

    Parameters
    ----------
    since : datetime or None
        Nothing before it has changed since they were last reckoned; None on a first night.

    """
    start = FIRST_TIME if since is None else min(since, until - PAST)
    failed: dict[str, str] = {}
    parts: dict[str, list[pl.DataFrame]] = {name: [] for name in ("capacity", "back_pressure", "carryover")}
    done = 0
    with store.reading() as reader:
        anodes = _anodes(field_, reader, until)
        cuts = WaterCuts(reader.tests(FIRST_TIME, until))
        for group in in_groups(field_.vessels):
            past = reader.derived_of([vessel.id for vessel in group], start, until, _READ)
            for vessel in group:
                mine, its_hours = past[vessel.id].days, past[vessel.id].signal_hours
                try:
                    if mine.height:
                        parts["capacity"].append(capacities(vessel, field_, mine, its_hours, until))
                        parts["back_pressure"].append(back_pressure(vessel, field_, mine, its_hours, cuts))
                        parts["carryover"].append(carryover(vessel, field_, mine, its_hours))
                except Exception as error:  # one vessel's trouble must not cost the others their night
                    failed[vessel.id] = f"{type(error).__name__}: {error}"
                done += 1
                tell("reckoning capacity and losses", done, len(field_.vessels))
    return Reckoned(
        pl.concat([VESSEL_CAPACITY.empty(), *parts["capacity"]]),
        pl.concat([BACK_PRESSURE.empty(), *parts["back_pressure"]]),
        pl.concat([CARRYOVER.empty(), *parts["carryover"]]),
        anodes,
        None if since is None else start.astimezone(field_.zone).date(),
        failed,
    )


def _anodes(field_: Field, reader: Reader, until: datetime) -> pl.DataFrame:
    """Return the anodes' state, from the current of all time."""
    if not field_.anodes:
        return ANODES.empty()
    return anode_status(field_, reader.signal_hours(anode_signals(field_), FIRST_TIME, until), until)


def anode_signals(field_: Field) -> frozenset[str]:
    """Return the signals that the currents of the field's anodes have."""
    return frozenset(of_part("anode_current", anode.id) for anode in field_.anodes)
