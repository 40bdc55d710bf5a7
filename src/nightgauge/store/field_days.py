"""Days by the field's clock."""

from datetime import date, datetime
from zoneinfo import ZoneInfo


def first_day_from(when: datetime, zone: ZoneInfo) -> date:
    """Return the first day of a zone that begins at or after a time."""
    local = when.astimezone(zone)
    midnight = datetime(local.year, local.month, local.day, tzinfo=zone)
    return local.date() if when <= midnight.astimezone(when.tzinfo) else date.fromordinal(local.toordinal() + 1)
