"""Deriving: the spans that changed, vessel by vessel, in groups of one transaction."""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from itertools import groupby

import polars as pl

from nightgauge.derive import CONTEXT, DayRows, Stretch, derive_days, gathered
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
_READ_TOGETHER = 4
"""Vessels read by one query. House choice: four days of four vessels at five seconds are three million samples."""
_THREADS = 2
"""Vessels derived at once. House choice: much of the work is in libraries that let threads run side by side."""

Span = tuple[datetime, datetime]


def derive_changed(
    field_: Field, store: Store, previous: datetime | None, until: datetime, tell: Tell = silent
) -> tuple[int, dict[str, str]]:
    """Derive anew what changed or came in before `until`; return how many vessels had any, and which failed."""
    work = _owed_spans(field_, store, previous, until)
    failed: dict[str, str] = {}
    with ThreadPoolExecutor(_THREADS, "deriving") as pool:
        for first in range(0, len(work), GROUP):
            group = work[first : first + GROUP]
            with store.reading() as reader:
                found = list(_derived(_Night(field_, reader, until, pool), group, failed))
            good = [one for one in found if one.task.vessel.id not in failed]
            with store.writing() as writer:
                spans = [(one.task.vessel.id, one.task.stretch.start, one.task.stretch.end) for one in good]
                writer.replace_derived_of(spans, gathered([day for one in good for day in one.days]))
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


@dataclass(frozen=True)
class _Night:
    """What deriving needs of one night."""

    field: Field
    reader: Reader
    until: datetime
    pool: ThreadPoolExecutor


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
    days: Sequence[DayRows]


def _derived(night: _Night, group: Sequence[tuple[Vessel, Sequence[Span]]], failed: dict[str, str]) -> Iterator[_Done]:
    """Yield the rows of the vessels' spans; nothing where deriving failed: then they stay owed.

    Vessels of one window are read together, and while they are derived the next ones are read.
    """
    tasks = [
        _Task(vessel, Stretch(start, end, min(night.until, end + CONTEXT)))
        for vessel, spans in group
        for start, end in spans
    ]
    if not tasks:
        return
    latest = max(task.stretch.start for task in tasks)
    earlier = night.reader.days_of([vessel.id for vessel, _ in group], latest)
    running: deque[tuple[_Task, Future[list[DayRows]]]] = deque()
    for batch in _batches(tasks):
        samples = night.reader.samples_of([task.vessel.id for task in batch], *batch[0].window)
        for task in batch:
            derive = partial(_derive_task, night.field, task, samples.pop(task.vessel.id), earlier)
            running.append((task, night.pool.submit(derive)))
        while len(running) > _READ_TOGETHER:
            yield from _finished(*running.popleft(), failed)
    for task, future in running:
        yield from _finished(task, future, failed)


def _batches(tasks: Sequence[_Task]) -> Iterator[list[_Task]]:
    """Yield tasks that follow one another and need the same window, a few at a time."""
    for _, same in groupby(tasks, key=lambda task: task.window):
        alike = list(same)
        for first in range(0, len(alike), _READ_TOGETHER):
            yield alike[first : first + _READ_TOGETHER]


def _derive_task(field_: Field, task: _Task, samples: pl.DataFrame, earlier: pl.DataFrame) -> list[DayRows]:
    day = _day_of(field_, task.stretch.start)
    mine = earlier.filter((pl.col("vessel") == task.vessel.id) & (pl.col("day") < day))
    return derive_days(task.vessel, field_, samples, task.stretch, mine)


def _finished(task: _Task, future: Future[list[DayRows]], failed: dict[str, str]) -> Iterator[_Done]:
    try:
        yield _Done(task, future.result())
    except NightgaugeError:
        raise
    except Exception as error:  # one vessel's trouble must not cost the others their night
        failed[task.vessel.id] = f"{type(error).__name__}: {error}"
