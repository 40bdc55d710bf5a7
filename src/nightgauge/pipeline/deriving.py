"""Deriving: the spans that changed, vessel by vessel, in groups of one transaction."""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from itertools import groupby
from typing import Protocol

import polars as pl

from nightgauge.derive import CONTEXT, DayRows, Stretch, derive_days, gathered
from nightgauge.errors import NightgaugeError
from nightgauge.field.calendar import day_bounds
from nightgauge.field.settings import Field, Vessel
from nightgauge.pipeline.handing import HandOut
from nightgauge.pipeline.telling import Tell, silent
from nightgauge.store import Reader, Store
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import FIRST_TIME

REVISED = timedelta(days=1)
"""How long before a change rows may depend on it: a dump under way, a load from one shutting to the next."""
GROUP = 16
"""Vessels derived between two commits. House choice: bounds the memory and what a kill can cost."""
READ_TOGETHER = 4
"""Vessels read by one query. House choice: four days of four vessels at five seconds are three million samples."""
_THREADS = 2
"""Vessels derived at once. House choice: much of the work is in libraries that let threads run side by side."""

Span = tuple[datetime, datetime]


@dataclass(frozen=True)
class Deriving:
    """What deriving of one night came to."""

    vessels: int
    """Vessels that had anything to derive, without those that failed."""
    failed: dict[str, str]
    """Vessel id to what went wrong."""
    samples: int
    """Samples read for it, also those of the days before that a row depends on."""
    rows: int
    """Rows derived."""


def derive_changed(
    field_: Field,
    store: Store,
    previous: datetime | None,
    until: datetime,
    tell: Tell = silent,
    hand_out: HandOut | None = None,
) -> Deriving:
    """Derive anew what changed or came in before `until`.

    Groups of vessels are derived here, or wherever `hand_out` has it done; their rows are kept here, in their order.

    Raises
    ------
    SettingError
        If work is handed out and the samples live where nobody else can read them.

    """
    work = _owed_spans(field_, store, previous, until)
    groups = [work[first : first + GROUP] for first in range(0, len(work), GROUP)]
    failed: dict[str, str] = {}
    done = samples = rows = 0
    here = (_derived_here(field_, store, group, until) for group in groups)
    elsewhere = (_sent(field_, store, group, until) for group in groups)
    for outcome in here if hand_out is None else hand_out(derive_group, elsewhere):
        failed |= outcome.failed
        with store.writing() as writer:
            writer.replace_derived_of(outcome.spans, outcome.rows)
        done, samples, rows = done + outcome.vessels, samples + outcome.samples, rows + outcome.rows.height
        tell("deriving vessels", done, len(work))
    return Deriving(len(work) - len(failed), failed, samples, rows)


class Source(Protocol):
    """Where a group's samples are read: the database, or a lake without it."""

    def samples_of(self, vessels: Sequence[str], start: datetime, end: datetime) -> dict[str, pl.DataFrame]:
        """Return the samples of each vessel in [start, end) as VESSEL_SAMPLES."""
        ...


@dataclass(frozen=True)
class GroupTask:
    """All that deriving one group of vessels takes."""

    field: Field
    group: Sequence[tuple[Vessel, Sequence[Span]]]
    until: datetime
    source: Source
    earlier: pl.DataFrame
    """VESSEL_DAYS of the vessels before the last span."""


@dataclass(frozen=True)
class GroupRows:
    """What deriving one group came to."""

    vessels: int
    spans: Sequence[tuple[str, datetime, datetime]]
    """Vessel, start and end of what was derived; what failed is not among them, and stays owed."""
    rows: Derived
    failed: Mapping[str, str]
    samples: int
    """How many samples were read for it."""


def _derived_here(
    field_: Field, store: Store, group: Sequence[tuple[Vessel, Sequence[Span]]], until: datetime
) -> GroupRows:
    with store.reading() as reader:
        return derive_group(GroupTask(field_, group, until, reader, _earlier(reader, group)))


def _sent(field_: Field, store: Store, group: Sequence[tuple[Vessel, Sequence[Span]]], until: datetime) -> GroupTask:
    """Return a group's task with all that it needs from the database."""
    start = min(start for _, spans in group for start, _ in spans) - CONTEXT
    with store.reading() as reader:
        source = reader.sent_samples([vessel.id for vessel, _ in group], start, until)
        return GroupTask(field_, group, until, source, _earlier(reader, group))


def _earlier(reader: Reader, group: Sequence[tuple[Vessel, Sequence[Span]]]) -> pl.DataFrame:
    latest = max(start for _, spans in group for start, _ in spans)
    return reader.days_of([vessel.id for vessel, _ in group], latest)


def derive_group(task: GroupTask) -> GroupRows:
    """Derive one group of vessels; a vessel's trouble costs only its own rows."""
    failed: dict[str, str] = {}
    with ThreadPoolExecutor(_THREADS, "deriving") as pool:
        found = list(_derived(task, pool, failed))
    good = [one for one in found if one.task.vessel.id not in failed]
    spans = [(one.task.vessel.id, one.task.stretch.start, one.task.stretch.end) for one in good]
    rows = gathered([day for one in good for day in one.days])
    return GroupRows(len(task.group), spans, rows, failed, sum(one.samples for one in good))


def _owed_spans(
    field_: Field, store: Store, previous: datetime | None, until: datetime
) -> list[tuple[Vessel, list[Span]]]:
    """Return the spans to derive of each vessel that has any: from one midnight to another, or to `until`."""
    with store.reading() as reader:
        owed = reader.changed_ranges().filter(pl.col("from_utc") < until)
        derived_from = reader.first_days()
        earliest = reader.derivable_from() or FIRST_TIME
    spans: dict[str, list[Span]] = {}
    for vessel_id, start, end in owed.iter_rows():
        spans.setdefault(vessel_id, []).append((start, end))
    work = []
    for vessel in field_.vessels:
        mine = spans.get(vessel.id, [])
        if previous is not None and previous < until:
            # The night's own hours have rows also where nothing came in: an empty hour is worth knowing.
            mine.append((previous, until))
        widened = (_widened(field_, span, derived_from.get(vessel.id), until) for span in mine)
        possible = [(max(start, earliest), end) for start, end in widened if end > earliest]
        if possible:
            work.append((vessel, _joined(sorted(possible))))
    return work


def _widened(field_: Field, span: Span, first_day: date | None, until: datetime) -> Span:
    """Return the span widened to whole days and to every row that a change in it can reach.

    A day is derived from the samples of `CONTEXT` before it on, so a change reaches that far forward. Before
    `first_day`, the vessel's first with rows, there is none to reach.
    """
    start, end = span
    last_reached = midnight_after(field_, end + CONTEXT)
    if first_day is None or _day_of(field_, start - REVISED) < first_day:
        return _midnight_before(field_, start), min(last_reached, until)
    return _midnight_before(field_, start - REVISED), min(last_reached, until)


def _day_of(field_: Field, when: datetime) -> date:
    return when.astimezone(field_.zone).date()


def _midnight_before(field_: Field, when: datetime) -> datetime:
    return day_bounds(field_.zone, _day_of(field_, when))[0]


def midnight_after(field_: Field, when: datetime) -> datetime:
    """Return the field's first midnight at or after a time."""
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


@dataclass(frozen=True)
class _Task:
    """A stretch of one vessel to derive."""

    vessel: Vessel
    stretch: Stretch

    @property
    def window(self) -> Span:
        """Return the time whose samples it needs."""
        return self.stretch.start - CONTEXT, self.stretch.until


@dataclass(frozen=True)
class _Done:
    """What a task came to."""

    task: _Task
    samples: int
    days: Sequence[DayRows]


def _derived(night: GroupTask, pool: ThreadPoolExecutor, failed: dict[str, str]) -> Iterator[_Done]:
    """Yield the rows of the vessels' spans; nothing where deriving failed: then they stay owed.

    Vessels of one window are read together, and while they are derived the next ones are read.
    """
    tasks = [
        _Task(vessel, Stretch(start, end, min(night.until, end + CONTEXT)))
        for vessel, spans in night.group
        for start, end in spans
    ]
    running: deque[tuple[_Task, Future[_Done]]] = deque()
    for batch in _batches(tasks):
        samples = night.source.samples_of([task.vessel.id for task in batch], *batch[0].window)
        for task in batch:
            derive = partial(_derive_task, night.field, task, samples.pop(task.vessel.id), night.earlier)
            running.append((task, pool.submit(derive)))
        while len(running) > READ_TOGETHER:
            yield from _finished(*running.popleft(), failed)
    for task, future in running:
        yield from _finished(task, future, failed)


def _batches(tasks: Sequence[_Task]) -> Iterator[list[_Task]]:
    """Yield tasks that follow one another and need the same window, a few at a time."""
    for _, same in groupby(tasks, key=lambda task: task.window):
        alike = list(same)
        for first in range(0, len(alike), READ_TOGETHER):
            yield alike[first : first + READ_TOGETHER]


def _derive_task(field_: Field, task: _Task, samples: pl.DataFrame, earlier: pl.DataFrame) -> _Done:
    day = _day_of(field_, task.stretch.start)
    mine = earlier.filter((pl.col("vessel") == task.vessel.id) & (pl.col("day") < day))
    return _Done(task, samples.height, derive_days(task.vessel, field_, samples, task.stretch, mine))


def _finished(task: _Task, future: Future[_Done], failed: dict[str, str]) -> Iterator[_Done]:
    try:
        yield future.result()
    except NightgaugeError:
        raise
    except Exception as error:  # one vessel's trouble must not cost the others their night
        failed[task.vessel.id] = f"{type(error).__name__}: {error}"
