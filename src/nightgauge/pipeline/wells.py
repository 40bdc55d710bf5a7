"""Wells as asked at the door: their records, and their sums beside the vessels' meters."""

from dataclasses import dataclass
from datetime import datetime

from nightgauge.errors import SettingError
from nightgauge.field.settings import Field
from nightgauge.report.well_records import LOADS, Allocation, WellRecord, allocations, well_records
from nightgauge.store import Store
from nightgauge.vocabulary.frames import FIRST_TIME


@dataclass(frozen=True)
class Wells:
    """What is known of a field's wells, as of the last night."""

    until: datetime
    records: tuple[WellRecord, ...]
    allocations: tuple[Allocation, ...]


def ask_wells(field_: Field, store: Store) -> Wells:
    """Return what the tests up to the last night say.

    Raises
    ------
    SettingError
        If no night has ended well yet.

    """
    with store.reading() as reader:
        until = reader.last_night()
        if until is None:
            raise SettingError("no night has ended well yet, so no well test is known; run the nightly flow first")
        records = well_records(reader.tests(FIRST_TIME, until), field_, until)
        return Wells(until, records, allocations(records, reader.days(until - LOADS, until), field_, until))
