"""Days, weeks and nights of a field's time zone, and times as people write them.

A day of the field has 23, 24 or 25 hours. Where the clock skips midnight the day begins at the first
instant it has; where midnight comes twice, at the first.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from nightgauge.errors import SettingError
from nightgauge.field.problems import shown
from nightgauge.field.settings import Field

_EXAMPLE = '"2026-05-18" or "2026-05-18T06:00" or "2026-05-18T06:00-06:00"'


class TimeProblem(ValueError):
    """A text is not a time of the field; the message says what was found and what is accepted."""


def day_bounds(zone: ZoneInfo, day: date) -> tuple[datetime, datetime]:
    """Return the first instant of a day of the field and that of the next day.

    Examples
    --------
    The day the clocks go forward in Denver has 23 hours:

    >>> start, end = day_bounds(ZoneInfo("America/Denver"), date(2026, 3, 8))
    >>> start.isoformat(), (end - start).total_seconds() / 3600
    ('2026-03-08T07:00:00+00:00', 23.0)

    """
    return _midnight(zone, day), _midnight(zone, day + timedelta(days=1))


def midnights(zone: ZoneInfo, start_utc: datetime, end_utc: datetime) -> list[datetime]:
    """Return the field midnights from start to end, both included where they are midnights, in UTC.

    Examples
    --------
    >>> days = midnights(ZoneInfo("UTC"), datetime(2026, 5, 1, tzinfo=UTC), datetime(2026, 5, 2, 12, tzinfo=UTC))
    >>> [day.isoformat() for day in days]
    ['2026-05-01T00:00:00+00:00', '2026-05-02T00:00:00+00:00']

    """
    first, last = start_utc.astimezone(zone).date(), end_utc.astimezone(zone).date()
    days = (first + timedelta(days=n) for n in range((last - first).days + 1))
    instants = dict.fromkeys(_midnight(zone, day) for day in days)  # a day that a zone left out has no midnight
    return [instant for instant in instants if start_utc <= instant <= end_utc]


def default_until(field: Field, clock: datetime) -> datetime:
    """Return up to when a night judges: `as_of` of the field, else its last midnight by the clock, in UTC."""
    if field.as_of is not None:
        return field.as_of
    return _midnight(field.zone, clock.astimezone(field.zone).date())


def week_of(day: date) -> tuple[date, date]:
    """Return the Monday of a day's week and the next Monday.

    Examples
    --------
    >>> week_of(date(2026, 5, 20))
    (datetime.date(2026, 5, 18), datetime.date(2026, 5, 25))

    """
    monday = day - timedelta(days=day.weekday())
    return monday, monday + timedelta(days=7)


def parse_until(text: str, zone: ZoneInfo) -> datetime:
    """Return a time as typed on the command line, in UTC; without an offset it is of the field's zone.

    Raises
    ------
    SettingError
        If the text is no ISO 8601 time, or a time that the zone's clock skips.

    """
    try:
        return parse_time(text, zone)
    except TimeProblem as problem:
        raise SettingError(f"{problem}; expected a time like {_EXAMPLE}") from problem


def parse_time(value: object, zone: ZoneInfo) -> datetime:
    """Return an ISO 8601 text, or a date or time of TOML, in UTC; without an offset it is of the field's zone.

    A time in the hour that comes twice in autumn is taken as the first.

    Raises
    ------
    TimeProblem
        If it is no time, or one that the zone's clock skips, or one beyond the calendar.

    Examples
    --------
    >>> parse_time("2026-05-02T06:00", ZoneInfo("America/Denver")).isoformat()
    '2026-05-02T12:00:00+00:00'

    """
    written = _as_written(value)
    try:
        if written.tzinfo is not None:
            return written.astimezone(UTC)
        local = written.replace(tzinfo=zone)
        instant = local.astimezone(UTC)
        back = instant.astimezone(zone).replace(tzinfo=None)
    except (OverflowError, ValueError) as error:
        raise TimeProblem(f"{shown(value)} lies beyond the calendar") from error
    if back != written:
        raise TimeProblem(f"{shown(value)} does not exist in {zone.key}: the clocks skip it")
    return instant


def _as_written(value: object) -> datetime:
    if isinstance(value, datetime):
        return value
    if isinstance(value, date):
        return datetime.combine(value, time())
    if not isinstance(value, str):
        raise TimeProblem(f"{shown(value)} is no time")
    try:
        return datetime.fromisoformat(value.strip())
    except ValueError as error:
        raise TimeProblem(f"{shown(value)} is no time") from error


def _midnight(zone: ZoneInfo, day: date) -> datetime:
    # fold=0 reads a skipped midnight by the offset before the change, which is the very instant of the change.
    return datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)
