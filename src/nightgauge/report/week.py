"""The week a page tells of: its frames, its bounds, and which finding belongs in which list."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as default
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any, TypeAlias

import polars as pl

from nightgauge.field.settings import Field
from nightgauge.report.findings import EVERY_STATE, selected
from nightgauge.report.words import from_json
from nightgauge.vocabulary.frames import ANODES, BACK_PRESSURE, CARRYOVER, SIGNAL_HOURS, VESSEL_CAPACITY, WELL_TESTS

Row: TypeAlias = dict[str, Any]
_STANDING = ("new", "standing")


@dataclass(frozen=True)
class WeekView:
    """Everything the weekly page is made from.

    Attributes
    ----------
    field : Field
        The field.
    monday : date
        First day of the week, in the field's zone.
    until : datetime
        Data judged up to here; before the week's end while the week is running.
    nights, findings, events : NIGHTS, FINDINGS, FINDING_EVENTS
        As they stood at ``until``.
    days, hours, cycles : VESSEL_DAYS, VESSEL_HOURS, DUMP_CYCLES
        Of all vessels, the last six weeks or so up to ``until``; more days serve the operating envelope.
    traces : mapping of finding id to VESSEL_SAMPLES
        Samples of the finding's vessel in the span that `picture_window` names.
    unjudged : mapping of vessel id to reasons
        What could not be judged in the last night, and why, one sentence each.
    levels : SIGNAL_HOURS
        Of interface_level and oil_level over the week, for the drawn vessels; without it the days' levels serve. Of
        water_dump_position for the travel of throttling dumps.
    files, quarantine : SOURCE_FILES, QUARANTINE
        For the small print.
    tests : WELL_TESTS
        Of all wells, for the pictures of well tests.
    capacity : VESSEL_CAPACITY
        As of the night.
    anodes : ANODES
        As of the night.
    currents : SIGNAL_HOURS
        Of the anodes' currents over 90 days, for the pictures.
    back_pressure : BACK_PRESSURE
        Of all vessels, as many months as there are up to a year: what has been lost so far is told from them.
    carryover : CARRYOVER
        Of all vessels, the week's days at least.

    """

    field: Field
    monday: date
    until: datetime
    nights: pl.DataFrame
    findings: pl.DataFrame
    events: pl.DataFrame
    days: pl.DataFrame
    hours: pl.DataFrame
    cycles: pl.DataFrame
    traces: Mapping[str, pl.DataFrame] = default(default_factory=dict)
    unjudged: Mapping[str, Sequence[str]] = default(default_factory=dict)
    levels: pl.DataFrame = default(default_factory=SIGNAL_HOURS.empty)
    files: pl.DataFrame = default(default_factory=pl.DataFrame)
    quarantine: pl.DataFrame = default(default_factory=pl.DataFrame)
    tests: pl.DataFrame = default(default_factory=WELL_TESTS.empty)
    capacity: pl.DataFrame = default(default_factory=VESSEL_CAPACITY.empty)
    anodes: pl.DataFrame = default(default_factory=ANODES.empty)
    currents: pl.DataFrame = default(default_factory=SIGNAL_HOURS.empty)
    back_pressure: pl.DataFrame = default(default_factory=BACK_PRESSURE.empty)
    carryover: pl.DataFrame = default(default_factory=CARRYOVER.empty)

    @property
    def sunday(self) -> date:
        """Return the last day of the week."""
        return self.monday + timedelta(days=6)

    @property
    def start(self) -> datetime:
        """Return the week's first midnight."""
        return datetime.combine(self.monday, datetime.min.time(), self.field.zone)

    @property
    def end(self) -> datetime:
        """Return the end of what the page tells of: the week's end, or ``until`` while it is running."""
        over = datetime.combine(self.monday + timedelta(days=7), datetime.min.time(), self.field.zone)
        return min(over, self.until.astimezone(self.field.zone))

    @property
    def is_running(self) -> bool:
        """Return whether the week is not over at ``until``."""
        return self.end < datetime.combine(self.monday + timedelta(days=7), datetime.min.time(), self.field.zone)

    @property
    def days_so_far(self) -> int:
        """Return how many days of the week have been judged."""
        last = self.end.date() - timedelta(days=0 if self.end.timetz().replace(tzinfo=None) > _MIDNIGHT else 1)
        return max((last - self.monday).days + 1, 0)

    @cached_property
    def week_days(self) -> pl.DataFrame:
        """Return the days of the week told of."""
        return self.days.filter(pl.col("day").is_between(self.monday, self.sunday))

    @cached_property
    def week_nights(self) -> pl.DataFrame:
        """Return the week's nights; the night that judges a day ends on the midnight after it."""
        return self.nights.filter(self._is_of_the_week("until_utc")).sort("night_id")

    def _is_of_the_week(self, column: str) -> pl.Expr:
        return (pl.col(column) > self.start.astimezone(UTC)) & (pl.col(column) <= self.end.astimezone(UTC))

    @cached_property
    def nights_done(self) -> int:
        """Return how many of the week's nights ended well."""
        return self.week_nights.filter(pl.col("state") == "done")["until_utc"].n_unique()

    @cached_property
    def week_events(self) -> pl.DataFrame:
        """Return what happened to findings in the nights and marks of the week, in order of time."""
        happened = self.events.filter(self._is_of_the_week("at_utc"))
        return happened.sort("at_utc", "finding_id", maintain_order=True)

    @cached_property
    def lists(self) -> "Lists":
        """Return the findings by list, each in reading order."""
        return _lists(self)


_MIDNIGHT = datetime.min.time()


@dataclass(frozen=True)
class Lists:
    """The findings of a page by the list they stand in; no finding stands in two."""

    visit: tuple[Row, ...]
    """High and medium, standing, not marked, or worse since it was: what needs a visit, most urgent first."""
    know: tuple[Row, ...]
    """Low, standing, not marked."""
    fixed: tuple[Row, ...]
    """Marked fixed, but the evidence still stands."""
    parked: tuple[Row, ...]
    """Standing, and marked known, planned or wrong."""
    wrong: tuple[Row, ...]
    """Marked wrong and not standing: remembered, so that the same on this vessel is told low."""
    cleared: tuple[Row, ...]
    """Cleared within the week."""

    @property
    def cards(self) -> tuple[Row, ...]:
        """Return the findings that have a card, in the order of the page."""
        return (*self.visit, *self.know, *self.fixed, *self.parked, *self.cleared)


def _lists(view: WeekView) -> Lists:
    by_list: dict[str, list[Row]] = {"visit": [], "know": [], "fixed": [], "parked": [], "cleared": [], "wrong": []}
    cleared_now = set(view.week_events.filter(pl.col("event") == "cleared")["finding_id"])
    worse = _worse_since_marked(view)
    for row in selected(view.findings, EVERY_STATE).iter_rows(named=True):
        place = _place(row, cleared_now, worse)
        if place is not None:
            by_list[place].append(row)
    return Lists(**{name: tuple(rows) for name, rows in by_list.items()})


def _worse_since_marked(view: WeekView) -> set[str]:
    """Return the findings that got clearly worse after somebody had called them known or planned."""
    told = view.events.filter(pl.col("event").is_in(["worse", "marked"])).sort("at_utc", maintain_order=True)
    last = told.group_by("finding_id").agg(pl.col("event").last())
    return set(last.filter(pl.col("event") == "worse")["finding_id"])


def _place(row: Row, cleared_now: set[str], worse: set[str]) -> str | None:
    marked = (from_json(row["mark"]) or {}).get("as")
    if row["state"] not in _STANDING and marked == "wrong":
        return "wrong"
    if row["state"] == "cleared":
        return "cleared" if row["id"] in cleared_now else None
    if row["state"] not in _STANDING:
        return None
    if marked in ("known", "planned") and row["id"] in worse:
        marked = None
    if marked is not None:
        return "fixed" if marked == "fixed" else "parked"
    return "know" if row["priority"] == "low" else "visit"
