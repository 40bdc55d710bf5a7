"""Capacity as asked at the door: one vessel's frames, what if, and what would give more."""

from dataclasses import dataclass
from datetime import datetime

import polars as pl

from nightgauge.capacity import LEVELS_AND_PRESSURES, Change, Outlook, capacities, what_if, what_would_give_more
from nightgauge.errors import SettingError
from nightgauge.field.settings import Field, Vessel
from nightgauge.pipeline.reckoning import PAST
from nightgauge.store import Store
from nightgauge.vocabulary.frames import FIRST_TIME, VESSEL_CAPACITY


@dataclass(frozen=True)
class Asked:
    """What is known of one vessel, as of the last night."""

    vessel: Vessel
    field: Field
    until: datetime
    days: pl.DataFrame
    hours: pl.DataFrame
    tests: pl.DataFrame

    def now(self) -> pl.DataFrame:
        """Return its limits as VESSEL_CAPACITY."""
        return capacities(self.vessel, self.field, self.days, self.hours, self.until)

    def outlook(self, change: Change) -> Outlook:
        """Return its limits before and after a change; SettingError where the change is impossible."""
        return what_if(self.vessel, self.field, self.days, self.hours, self.until, change)

    def more(self) -> tuple[str, ...]:
        """Return what would give it more."""
        return what_would_give_more(self.vessel, self.field, self.days, self.hours, self.until, self.tests)


def ask(field_: Field, store: Store, vessel: Vessel) -> Asked:
    """Return what capacity is reckoned from for one vessel.

    Raises
    ------
    SettingError
        If no night has ended well yet.

    """
    with store.reading() as reader:
        until = _judged(reader.last_night())
        start = until - PAST
        return Asked(
            vessel,
            field_,
            until,
            reader.days(start, until),
            reader.signal_hours(LEVELS_AND_PRESSURES, start, until),
            reader.tests(FIRST_TIME, until),
        )


def of_all(store: Store) -> pl.DataFrame:
    """Return the limits of all vessels as the last night reckoned them.

    Raises
    ------
    SettingError
        If no night has ended well yet.

    """
    with store.reading() as reader:
        _judged(reader.last_night())
        return reader.reckoned(VESSEL_CAPACITY)


def _judged(until: datetime | None) -> datetime:
    if until is None:
        raise SettingError("no night has ended well yet, so no load is known; run the nightly flow first")
    return until
