"""Pages: what a week's page is made from, and how it is written whole or not at all."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl

from nightgauge.errors import SettingError, StoreNotWritable
from nightgauge.field.calendar import day_bounds, week_of
from nightgauge.field.settings import Field
from nightgauge.pipeline.judging import judge_vessels, reasons
from nightgauge.pipeline.reckoning import anode_signals
from nightgauge.report.valve import COMPARED, REFERENCE, ValveView
from nightgauge.report.week import WeekView
from nightgauge.report.weekly import picture_window, weekly_page
from nightgauge.store import Reader, Store
from nightgauge.vocabulary.frames import ANODES, BACK_PRESSURE, CARRYOVER, DUMP_CYCLES, FIRST_TIME, VESSEL_CAPACITY

LEVELS = frozenset({"interface_level", "oil_level", "water_dump_position"})
"""Signals whose hours the drawn vessel and the travel of a throttling dump are told from."""
SHOWN = timedelta(days=90)
"""How much of the past the weekly page draws. Fixed by the page's design: the operating envelope shows 90 days."""
TOLD = timedelta(days=365)
"""How much of the past back pressure is told from. House choice: a year shows the seasons once."""


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
    with store.reading() as reader:
        anodes = reader.reckoned(ANODES)
    judgements, _ = judge_vessels(field_, store, until, anodes)
    with store.reading() as reader:
        start = until - SHOWN
        cycles = [reader.cycles(vessel.id, start, until) for vessel in field_.vessels]
        week_start = day_bounds(field_.zone, week)[0]
        view = WeekView(
            field=field_,
            monday=week,
            until=until,
            nights=reader.nights(),
            findings=reader.findings(),
            events=reader.finding_events(),
            days=reader.days(start, until),
            hours=reader.hours(start, until),
            cycles=pl.concat(cycles) if cycles else DUMP_CYCLES.empty(),
            unjudged={vessel_id: reasons(judgement) for vessel_id, judgement in judgements.items()},
            levels=reader.signal_hours(LEVELS, week_start, until),
            files=reader.source_files(),
            quarantine=reader.quarantine(),
            tests=reader.tests(FIRST_TIME, until),
            capacity=reader.reckoned(VESSEL_CAPACITY),
            anodes=anodes,
            currents=reader.signal_hours(anode_signals(field_), start, until),
            back_pressure=reader.reckoned(BACK_PRESSURE).filter(pl.col("day") >= (until - TOLD).date()),
            carryover=reader.reckoned(CARRYOVER),
        )
        return replace(view, traces=_traces(reader, view))


def _traces(reader: Reader, view: WeekView) -> dict[str, pl.DataFrame]:
    """Return the samples that the pictures of the page's cards need, by finding."""
    windows = {card["id"]: (card["vessel"], picture_window(card, view.until)) for card in view.lists.cards}
    return {
        finding_id: reader.vessel_samples(vessel, *window)
        for finding_id, (vessel, window) in windows.items()
        if window is not None
    }


def valve_view(
    field_: Field,
    store: Store,
    vessel: str,
    element: str,
    span: tuple[datetime | None, datetime | None] = (None, None),
    compare: datetime | None = None,
) -> ValveView:
    """Return what a valve page is made from: by default the last week that nights have judged.

    Raises
    ------
    SettingError
        If no night has ended well yet, or the span is empty.

    """
    with store.reading() as reader:
        until = reader.last_night()
        if until is None:
            raise SettingError("no night has ended well yet; run the nightly flow first")
        end = min(span[1] or until, until)
        start = span[0] or end - timedelta(days=7)
        if start >= end:
            raise SettingError(f"the span from {start.isoformat()} to {end.isoformat()} is empty: --from lies after it")
        past = start - REFERENCE if compare is None else min(start - REFERENCE, compare - COMPARED)
        samples = reader.vessel_samples(vessel, start - REFERENCE, end)
        return ValveView(
            field=field_,
            vessel=vessel,
            element=element,
            start=start,
            end=end,
            until=until,
            samples=samples.filter((pl.col("signal") == "interface_level") | (pl.col("time_utc") >= start)),
            cycles=reader.cycles(vessel, past, end),
            days=reader.days(past, end).filter(pl.col("vessel") == vessel),
            findings=reader.findings(),
            compare=compare,
        )


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
