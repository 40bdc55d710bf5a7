"""Deriving: the spans that changed, vessel by vessel, in groups of one transaction."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from itertools import chain

import polars as pl

from nightgauge.derive import CONTEXT, Derived, derive_vessel
from nightgauge.errors import NightgaugeError
from nightgauge.field.calendar import day_bounds
from nightgauge.field.settings import Field, Vessel
from nightgauge.pipeline.telling import Tell, silent
from nightgauge.store import Reader, Store
from nightgauge.vocabulary.frames import FIRST_TIME

REVISED = timedelta(days=1)
"""How long before a change rows may depend on it: a dump under way, a load from one shutting to the next."""
GROUP = 16
"""Vessels derived between two commits. House choice: bounds the memory and what a kill can cost."""

Span = tuple[datetime, datetime]


def derive_changed(
    field_: Field, store: Store, previous: datetime | None, until: datetime, tell: Tell = silent
) -> tuple[int, dict[str, str]]:
    """Derive anew what changed or came in before `until`; return how many vessels had any, and which failed."""
    work = _owed_spans(field_, store, previous, until)
    failed: dict[str, str] = {}
    for first in range(0, len(work), GROUP):
        group = work[first : first + GROUP]
        with store.reading() as reader:
            results = [_derive_spans(field_, reader, vessel, spans, until, failed) for vessel, spans in group]
        with store.writing() as writer:
            for vessel_id, span, derived in chain.from_iterable(results):
                writer.replace_derived(vessel_id, *span, derived)
        tell("deriving vessels", first + len(group), len(work))
    return len(work) - len(failed), failed


def _owed_spans(
    field_: Field, store: Store, previous: datetime | None, until: datetime
) -> list[tuple[Vessel, list[Span]]]:
    """Return the spans to derive of each vessel that has any: from one midnight to another, or to `until`."""
    with store.reading() as reader:
        owed = reader.changed_ranges().filter(pl.col("from_utc") < until)
        derived_from = dict(reader.days(FIRST_TIME, until).group_by("vessel").agg(pl.col("day").min()).iter_rows())
    work = []
    for vessel in field_.vessels:
        mine = [(row[1], row[2]) for row in owed.filter(pl.col("vessel") == vessel.id).iter_rows()]
        if previous is not None and previous < until:
            # The night's own hours have rows also where nothing came in: an empty hour is worth knowing.
            mine.append((previous, until))
        widened = (_widened(field_, span, derived_from.get(vessel.id), until) for span in mine)
        if mine:
            work.append((vessel, _joined(sorted(widened))))
    return work


def _widened(field_: Field, span: Span, first_day: date | None, until: datetime) -> Span:
    """Return the span widened to whole days and to every row that a change in it can reach.

    A day is derived from the samples of `CONTEXT` before it on, so a change reaches that far forward. Before
    `first_day`, the vessel's first with rows, there is none to reach.
    """
    start, end = span
    last_reached = _midnight_after(field_, end + CONTEXT)
    if first_day is None or _day_of(field_, start - REVISED) < first_day:
        return _midnight_before(field_, start), min(last_reached, until)
    return _midnight_before(field_, start - REVISED), min(last_reached, until)


def _day_of(field_: Field, when: datetime) -> date:
    return when.astimezone(field_.zone).date()


def _midnight_before(field_: Field, when: datetime) -> datetime:
    return day_bounds(field_.zone, _day_of(field_, when))[0]


def _midnight_after(field_: Field, when: datetime) -> datetime:
    start, end = day_bounds(field_.zone, _day_of(field_, when))
    return start if start == when else end


def _joined(spans: Iterable[Span]) -> list[Span]:
    joined: list[Span] = []
    for start, end in spans:
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def _derive_spans(
    field_: Field, reader: Reader, vessel: Vessel, spans: Iterable[Span], until: datetime, failed: dict[str, str]
) -> list[tuple[str, Span, Derived]]:
    """Return the rows of a vessel that begin in its spans; nothing where deriving failed: then they stay owed."""
    try:
        return [(vessel.id, span, _derive_span(field_, reader, vessel, span, until)) for span in spans]
    except NightgaugeError:
        raise
    except Exception as error:  # one vessel's trouble must not cost the others their night
        failed[vessel.id] = f"{type(error).__name__}: {error}"
        return []


def _derive_span(field_: Field, reader: Reader, vessel: Vessel, span: Span, until: datetime) -> Derived:
    start, end = span
    horizon = min(until, end + CONTEXT)
    samples = reader.vessel_samples(vessel.id, start - CONTEXT, horizon)
    earlier = reader.days(FIRST_TIME, start).filter(pl.col("vessel") == vessel.id)
    derived = derive_vessel(vessel, field_, samples, start, horizon, earlier)
    if horizon == end:
        return derived
    last_day = (end - timedelta(microseconds=1)).astimezone(field_.zone).date()
    return Derived(
        cycles=derived.cycles.filter(pl.col("opened_utc") < end),
        hours=derived.hours.filter(pl.col("hour_utc") < end),
        days=derived.days.filter(pl.col("day") <= last_day),
        signal_hours=derived.signal_hours.filter(pl.col("hour_utc") < end),
        tests=derived.tests.filter(pl.col("start_utc") < end),
    )
