"""The way through: plain functions that join the rooms in order. No scheduler, no printing.

A night is a row of transactions, each complete or absent: one per export, one per group of derived
vessels, one for the ledger together with the end of the night. What a killed night left undone the next
one does, because every step asks the store what is still owed.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import chain
from pathlib import Path

import polars as pl

from nightgauge import ledger
from nightgauge.derive import CONTEXT, Derived, derive_vessel
from nightgauge.detect import History, Judgement, find
from nightgauge.errors import NightgaugeError, SettingError, SourceError, StoreNotWritable
from nightgauge.field.calendar import day_bounds, midnights, week_of
from nightgauge.field.settings import Field, Vessel
from nightgauge.report.pictures import picture_window
from nightgauge.report.week import WeekView
from nightgauge.report.weekly import weekly_page
from nightgauge.store import Reader, Store
from nightgauge.streams import TagTable, discover, fingerprint, read_export, relative_to, stamp
from nightgauge.vocabulary.frames import DUMP_CYCLES

HISTORY = timedelta(days=120)
"""How far back a night looks. House choice: reference weeks, six weeks of drift and two months to spare."""
REVISED = timedelta(days=1)
"""How long before a change rows may depend on it: a dump under way, a load from one shutting to the next."""
SHOWN = timedelta(days=90)
"""How much of the past the weekly page draws. Fixed by the page's design: the operating envelope shows 90 days."""
GROUP = 16
"""Vessels derived between two commits. House choice: bounds the memory and what a kill can cost."""

Tell = Callable[[str, int, int], None]
"""Progress: what is being done, how many are done, of how many."""
Clock = Callable[[], datetime]


def silent(what: str, done: int, total: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class FileOutcome:
    """What became of one export in this run."""

    path: str
    state: str
    """stored, duplicate, refused, or growing (changed while it was read; read again next time)."""
    reason: str | None = None
    rows_read: int = 0
    rows_stored: int = 0
    rows_repeated: int = 0
    rows_replaced: int = 0
    rows_quarantined: int = 0
    unknown_quality: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class ReadReport:
    """What the reading step did."""

    files: tuple[FileOutcome, ...] = ()

    def count(self, state: str) -> int:
        """Return how many exports ended in this state."""
        return sum(outcome.state == state for outcome in self.files)

    def rows(self, name: str) -> int:
        """Return the sum over the exports of one of their row counts, such as `rows_read`."""
        return sum(getattr(outcome, name) for outcome in self.files)


@dataclass(frozen=True)
class NightReport:
    """What one night did."""

    until: datetime
    derived: int = 0
    """Vessels with rows derived anew."""
    failed: Mapping[str, str] = field(default_factory=dict)
    """Vessel id to what went wrong; the other vessels were done."""
    events: Mapping[str, int] = field(default_factory=dict)
    """What happened to findings: event to how often."""
    standing: int = 0

    @property
    def detail(self) -> str:
        """Return the night in one line."""
        happened = ", ".join(f"{count} {event}" for event, count in sorted(self.events.items())) or "nothing new"
        failed = "".join(f"; {vessel} failed: {why}" for vessel, why in self.failed.items())
        return f"{self.derived} vessels derived, {self.standing} findings stand, {happened}{failed}"


# Reading


def read_exports(field_: Field, store: Store, clock: Clock, tell: Tell = silent) -> ReadReport:
    """Read every export that is new, changed, or holds a tag that was added since; one transaction each.

    An export that cannot be read to its end is refused whole and named; the rest lands.
    """
    with store.writing() as writer:
        writer.set_display(field_.display_units)
        synced = writer.sync_tags(field_, clock())
        writer.sync_setup(field_)
    table = TagTable(synced.ids)
    _read_again(field_, store, table, synced.reread, clock)
    with store.reading() as reader:
        ledger_rows = reader.source_files()
    known = _Known(ledger_rows)
    paths = discover(field_)
    outcomes = []
    for number, path in enumerate(paths, start=1):
        if not known.is_unchanged(relative_to(path, field_.folder), path):
            outcomes.append(_read_one(field_, store, table, path, known, clock))
        tell("reading exports", number, len(paths))
    return ReadReport(tuple(outcomes))


class _Known:
    """What the ledger says of files, kept up to date while a run reads."""

    def __init__(self, rows: pl.DataFrame) -> None:
        last = rows.sort("file_id").group_by("path", maintain_order=True).last()
        self._stamps = {row["path"]: (row["size_bytes"], row["modified_utc"]) for row in last.iter_rows(named=True)}
        stored = rows.filter(pl.col("state") == "stored")
        self._contents = dict(zip(stored["sha256"], stored["path"], strict=True))

    def is_unchanged(self, relative: str, path: Path) -> bool:
        """Return whether size and time are as when this path was last read or refused."""
        return self._stamps.get(relative) == stamp(path)

    def holder(self, sha256: str) -> str | None:
        """Return the path under which this content is stored."""
        return self._contents.get(sha256)

    def add(self, sha256: str, relative: str) -> None:
        """Note that this content is stored now."""
        self._contents[sha256] = relative


def _read_again(field_: Field, store: Store, table: TagTable, tags: frozenset[str], clock: Clock) -> None:
    """Read stored exports once more for tags that were added or whose states or dates changed."""
    if not tags:
        return
    with store.reading() as reader:
        owed = reader.files_with_tags(tags)
    for file_id, relative, sha256 in owed.iter_rows():
        path = field_.folder / relative
        if stamp(path) is None:
            continue  # It stays owed, and is read should it come back.
        export = fingerprint(path, field_.folder)
        if export.sha256 != sha256:
            continue  # Another content by now: that is read as an export of its own.
        parsed = read_export(export, field_, table, clock(), only=tags)
        with store.writing() as writer:
            writer.land_again(file_id, parsed, clock())


def _read_one(field_: Field, store: Store, table: TagTable, path: Path, known: _Known, clock: Clock) -> FileOutcome:
    relative = relative_to(path, field_.folder)
    try:
        export = fingerprint(path, field_.folder)
    except SourceError as error:
        return FileOutcome(relative, "refused", str(error))
    holder = known.holder(export.sha256)
    if holder is not None:
        with store.writing() as writer:
            writer.duplicate(export, holder, clock())
        return FileOutcome(relative, "duplicate", f"same content as {holder}")
    try:
        parsed = read_export(export, field_, table, clock())
    except SourceError as error:
        with store.writing() as writer:
            writer.refuse(export, str(error), clock())
        return FileOutcome(relative, "refused", str(error))
    if stamp(path) != (export.size_bytes, export.modified_utc):
        return FileOutcome(relative, "growing", "it changed while it was read; it is read again next time")
    with store.writing() as writer:
        counts = writer.land(export, parsed, clock())
    known.add(export.sha256, relative)
    return FileOutcome(
        relative,
        "stored",
        rows_read=counts.rows_read,
        rows_stored=counts.rows_stored,
        rows_repeated=counts.rows_repeated,
        rows_replaced=counts.rows_replaced,
        rows_quarantined=counts.rows_quarantined,
        unknown_quality=parsed.unknown_quality,
    )


# Nights


def last_night(nights: pl.DataFrame) -> datetime | None:
    """Return up to when the last good night judged, or None before the first."""
    done = nights.filter(pl.col("state") == "done")["until_utc"]
    last = done.max()
    return last if isinstance(last, datetime) else None


def nights_due(field_: Field, store: Store, until: datetime) -> list[datetime]:
    """Return the nights to run, in turn, so that the last one judges up to `until`.

    A field's first night judges once. Later, each missed midnight is a night of its own. The last night is
    due again where samples before its end came late or were corrected.

    Raises
    ------
    SettingError
        If `until` lies before a night that has judged already.

    """
    with store.reading() as reader:
        last = last_night(reader.nights())
        owed = reader.changed_ranges()
    if last is None:
        return [until]
    if until < last:
        raise SettingError(
            f"the night up to {until.isoformat()} lies before the last one, up to {last.isoformat()}; "
            "to see an earlier night as of then, replay it into a database of its own: "
            f"uv run flows/replay.py {field_.path} --from D --to D --into FILE"
        )
    if until == last:
        return [until] if len(owed.filter(pl.col("from_utc") < until)) else []
    between = [midnight for midnight in midnights(field_.zone, last, until) if last < midnight < until]
    return [*between, until]


def nights_between(field_: Field, first: date, last: date) -> list[datetime]:
    """Return the nights of the dates from first to last: each judges data before its date's midnight."""
    return midnights(field_.zone, day_bounds(field_.zone, first)[0], day_bounds(field_.zone, last)[0])


def run_night(field_: Field, store: Store, until: datetime, clock: Clock, tell: Tell = silent) -> NightReport:
    """Derive what changed before `until`, judge every vessel, and keep the findings together with the night's end."""
    with store.writing() as writer:
        writer.close_killed_nights()
        previous = last_night(writer.nights())
        night_id = writer.begin_night(until, clock())
    try:
        derived, failed = derive_changed(field_, store, previous, until, tell)
        judgements, not_judged = judge_vessels(field_, store, until, tell)
        failed |= not_judged
        return _settle(field_, store, night_id, previous, NightReport(until, derived, failed), judgements, clock)
    except Exception as error:
        with store.writing() as writer:
            writer.end_night(night_id, clock(), "failed", f"{type(error).__name__}: {error}")
        raise


def _settle(  # noqa: PLR0913  what a night comes to is all of these
    field_: Field,
    store: Store,
    night_id: int,
    previous: datetime | None,
    report: NightReport,
    judgements: Mapping[str, Judgement],
    clock: Clock,
) -> NightReport:
    with store.writing() as writer:
        findings, events = ledger.update(
            writer.findings(), writer.finding_events(), judgements, report.until, is_first_night=previous is None
        )
        happened = dict(events.group_by("event").len().iter_rows())
        standing = int(findings["state"].is_in(["new", "standing"]).sum())
        report = NightReport(report.until, report.derived, report.failed, happened, standing)
        writer.save_findings(findings, events)
        writer.end_night(night_id, clock(), "done", report.detail)
    return report


# Deriving


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


Span = tuple[datetime, datetime]


def _owed_spans(
    field_: Field, store: Store, previous: datetime | None, until: datetime
) -> list[tuple[Vessel, list[Span]]]:
    """Return the spans to derive of each vessel that has any: from one midnight to another, or to `until`."""
    with store.reading() as reader:
        owed = reader.changed_ranges().filter(pl.col("from_utc") < until)
    work = []
    for vessel in field_.vessels:
        mine = [(row[1], row[2]) for row in owed.filter(pl.col("vessel") == vessel.id).iter_rows()]
        if previous is not None and previous < until:
            # The night's own hours have rows also where nothing came in: an empty hour is worth knowing.
            mine.append((previous, until))
        if mine:
            work.append((vessel, _joined(sorted(_widened(field_, span, until) for span in mine))))
    return work


def _widened(field_: Field, span: Span, until: datetime) -> Span:
    """Return the span widened to whole days and to every row that a change in it can reach."""
    start, end = span
    some_midnight = timedelta(days=2)  # Holds at least one, whatever the clocks do.
    before = midnights(field_.zone, start - REVISED - some_midnight, start - REVISED)
    after = midnights(field_.zone, end + REVISED, end + REVISED + some_midnight)
    return before[-1], min(after[0], until)


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
    earlier = reader.derived(vessel.id, None, start).days
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


# Judging


def judge_vessels(
    field_: Field, store: Store, until: datetime, tell: Tell = silent
) -> tuple[dict[str, Judgement], dict[str, str]]:
    """Return what each vessel's history up to `until` says, and which vessels failed."""
    judgements: dict[str, Judgement] = {}
    failed: dict[str, str] = {}
    with store.reading() as reader:
        for number, vessel in enumerate(field_.vessels, start=1):
            past = reader.derived(vessel.id, until - HISTORY, until)
            history = History(vessel, field_, past.cycles, past.hours, past.days, past.signal_hours, past.tests, until)
            try:
                judgements[vessel.id] = find(history)
            except Exception as error:  # one vessel's trouble must not cost the others their night
                failed[vessel.id] = f"{type(error).__name__}: {error}"
            tell("judging vessels", number, len(field_.vessels))
    return judgements, failed


# The weekly page


def week_view(field_: Field, store: Store, until: datetime, monday: date | None = None) -> WeekView:
    """Return what the page of a week tells, as things stood at `until`.

    Parameters
    ----------
    until : datetime
        Of the last good night.
    monday : date, optional
        The week; without it, the one whose days `until` judged last.

    """
    last_day = (until - timedelta(microseconds=1)).astimezone(field_.zone).date()
    week = monday or week_of(last_day)[0]
    judgements, _ = judge_vessels(field_, store, until)
    with store.reading() as reader:
        findings = reader.findings()
        start = until - SHOWN
        cycles = [reader.cycles(vessel.id, start, until) for vessel in field_.vessels]
        return WeekView(
            field=field_,
            monday=week,
            until=until,
            nights=reader.nights(),
            findings=findings,
            events=reader.finding_events(),
            days=reader.days(start, until),
            hours=reader.hours(start, until),
            cycles=pl.concat(cycles) if cycles else DUMP_CYCLES.empty(),
            traces=_traces(reader, findings, until),
            unjudged={vessel_id: reasons(judgement) for vessel_id, judgement in judgements.items()},
            files=reader.source_files(),
            quarantine=reader.quarantine(),
        )


def reasons(judgement: Judgement) -> list[str]:
    """Return what could not be judged, one sentence per reason."""
    by_reason: dict[str, list[str]] = {}
    for kind, why in sorted(judgement.unjudged.items()):
        by_reason.setdefault(why, []).append(kind.replace("_", " "))
    return [f"{why}: {', '.join(kinds)}" for why, kinds in sorted(by_reason.items())]


def _traces(reader: Reader, findings: pl.DataFrame, until: datetime) -> dict[str, pl.DataFrame]:
    traces = {}
    for finding in findings.filter(pl.col("state") != "withdrawn").iter_rows(named=True):
        window = picture_window(finding, until)
        if window is not None:
            traces[finding["id"]] = reader.vessel_samples(finding["vessel"], *window)
    return traces


def write_weekly(field_: Field, store: Store, until: datetime) -> Path:
    """Write the page of the running week, and the finished week's under its date; return the running one's path.

    A page is written beside its place and then put there, so nobody ever opens half a page.
    """
    page = write_page(field_.reports / "weekly.html", weekly_page(week_view(field_, store, until)))
    today = until.astimezone(field_.zone).date()
    monday = week_of(today - timedelta(days=1))[0]
    kept = field_.reports / f"week-{monday.isoformat()}.html"
    if week_of(today)[0] != monday:
        write_page(kept, page.read_text(encoding="utf-8"))
    return page


def write_page(path: Path, text: str) -> Path:
    """Write a page whole or not at all.

    Raises
    ------
    StoreNotWritable
        If the folder or the disk does not take it.

    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f".{path.name}.part")
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise StoreNotWritable(
            f"the page {path} cannot be written: {error.strerror}; mend that and run again"
        ) from error
    return path
