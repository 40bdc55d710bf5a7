"""The valve page and its short form: one element of one vessel, its traces, its dumps, before and after a repair."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

import polars as pl
from markupsafe import Markup

from nightgauge.field.settings import Field, Vessel
from nightgauge.report.cards import ChartShown, safe_json
from nightgauge.report.charts import Chart, alternative, specification
from nightgauge.report.cycles import COMPARED, GAP, HELD, Compared, between, compared, with_gap
from nightgauge.report.findings import Row, selected
from nightgauge.report.method import CAUTION
from nightgauge.report.overlay import overlay
from nightgauge.report.page import rendered
from nightgauge.report.repairs import of_days, of_dumps, repair_sentence
from nightgauge.report.scene import Scene
from nightgauge.report.sheet import link
from nightgauge.report.traces import cycle_charts, day_charts, traces
from nightgauge.report.words import (
    counted,
    day_text,
    element_words,
    from_json,
    how_sure,
    kind_words,
    moment,
    sentence,
    since,
)

REFERENCE = timedelta(days=28)
"""How far before the period its reference reaches. House choice, as for the vessel's own past everywhere else."""
_LINE = 78


@dataclass(frozen=True)
class ValveView:
    """Everything the valve page is made from.

    Attributes
    ----------
    field : Field
        The field.
    vessel : str
        Id of a vessel of the field.
    element : str
        water_dump, oil_valve or gas_valve.
    start, end : datetime
        The period looked at.
    until : datetime
        Data judged up to here.
    samples : VESSEL_SAMPLES
        From ``start - REFERENCE`` for interface_level, from ``start`` for the others, up to ``end``.
    cycles, days : DUMP_CYCLES, VESSEL_DAYS
        Of this vessel, from ``start - REFERENCE`` (or ``compare - COMPARED`` where earlier) up to ``end``.
    findings : FINDINGS
        Of this vessel, or of all.
    compare : datetime, optional
        A repair to look before and after.

    """

    field: Field
    vessel: str
    element: str
    start: datetime
    end: datetime
    until: datetime
    samples: pl.DataFrame
    cycles: pl.DataFrame
    days: pl.DataFrame
    findings: pl.DataFrame
    compare: datetime | None = None

    @cached_property
    def settings(self) -> Vessel:
        """Return the vessel's settings; KeyError for an id the field does not have."""
        found = self.field.vessel(self.vessel)
        if found is None:
            raise KeyError(self.vessel)
        return found

    @property
    def is_throttling(self) -> bool:
        """Return whether the water dump throttles at the period's end, and so has no cycles."""
        return self.settings.water_dump_at(self.end).action == "throttling"

    @cached_property
    def dumps(self) -> pl.DataFrame:
        """Return the vessel's cycles with their gap, in order of time."""
        own = self.cycles.filter(pl.col("vessel") == self.vessel).sort("opened_utc")
        return with_gap(own)

    @property
    def period(self) -> pl.DataFrame:
        """Return the dumps of the period."""
        return between(self.dumps, self.start.astimezone(UTC), self.end.astimezone(UTC))

    @property
    def reference(self) -> pl.DataFrame:
        """Return the dumps of the reference weeks."""
        return between(self.dumps, (self.start - REFERENCE).astimezone(UTC), self.start.astimezone(UTC))

    @property
    def open_findings(self) -> tuple[Row, ...]:
        """Return what stands on this element, or on what reads it, in reading order."""
        own = self.findings.filter((pl.col("vessel") == self.vessel) & (pl.col("element") == self.element))
        rows = selected(own).iter_rows(named=True)
        return tuple(row for row in rows if row["state"] != "cleared")

    @property
    def scene(self) -> Scene:
        """Return the frames as the pictures take them."""
        return Scene(
            finding={"kind": "", "element": self.element, "onset": None, "cleared_at": None},
            vessel=self.settings,
            field=self.field,
            until=self.until.astimezone(UTC),
            days=self.days.filter(pl.col("vessel") == self.vessel).sort("day"),
            hours=pl.DataFrame(),
            cycles=self.dumps,
            trace=self.samples,
        )


def valve_page(view: ValveView) -> str:
    """Return the valve page as one HTML file that opens from disk with no network.

    The same view gives the same page to the byte.
    """
    scene, start, end = view.scene, view.start.astimezone(UTC), view.end.astimezone(UTC)
    series = cycle_charts(scene, (start - REFERENCE, end), view.start) if view.element == "water_dump" else ()
    series = series or day_charts(scene, view.element)
    return rendered(
        "valve.html.j2",
        title=_title(view),
        vessel=view.vessel,
        name=view.settings.name or "",
        element=element_words(view.element),
        span=_span(view),
        opening=_opening(view),
        findings=tuple(_finding(row, view) for row in view.open_findings),
        traces=traces(scene, view.element, start, end),
        overlay=_overlay(view),
        has_past=not view.reference.is_empty(),
        series=tuple((title, _chart(chart, title)) for title, chart in series),
        measures=_measures(view),
        by_dump=view.element == "water_dump" and not view.dumps.is_empty(),
        repair=_repair(view),
        download=_download(view),
        file_name=f"{''.join(c if c.isalnum() or c in '-_' else '_' for c in view.vessel)}-dumps.csv",
        caution=CAUTION,
        until=moment(view.until, view.field.zone),
        zone=view.field.time_zone,
    )


def _chart(chart: Chart, title: str) -> ChartShown:
    return ChartShown(safe_json(specification(chart)), alternative(chart, title), chart.height + 46)


def _title(view: ValveView) -> str:
    return f"{view.vessel} {element_words(view.element)} — {_span(view)}"


def _span(view: ValveView) -> str:
    first = view.start.astimezone(view.field.zone).date()
    last = (view.end - timedelta(microseconds=1)).astimezone(view.field.zone).date()
    return day_text(first) if first == last else f"{day_text(first)} to {day_text(last)} {last.year}"


def _opening(view: ValveView) -> str:
    what = element_words(view.element)
    if not view.open_findings:
        return f"No finding stands on the {what}."
    told = [f"{kind_words(row['kind'], row['element'])} ({how_sure(row['confidence'])})" for row in view.open_findings]
    return sentence("; ".join(told))


@dataclass(frozen=True)
class FindingShown:
    """One standing finding in short."""

    what: str
    since: str
    sure: str
    summary: str
    checks: tuple[str, ...]


def _finding(row: Row, view: ValveView) -> FindingShown:
    onset = "" if row["onset"] is None else since(row["onset"], view.until, view.field.zone)
    return FindingShown(
        kind_words(row["kind"], row["element"]), onset, how_sure(row["confidence"]), sentence(row["summary"] or ""),
        tuple(from_json(row["checks"]) or ()),
    )  # fmt: skip


def _overlay(view: ValveView) -> ChartShown | None:
    if view.element != "water_dump":
        return None
    level = view.samples.filter(pl.col("signal") == "interface_level").sort("time_utc", maintain_order=True)
    made = overlay(level, view.reference, view.period, view.field.display_units)
    return None if made is None else ChartShown(safe_json(made.specification), made.alternative, made.height)


def _measures(view: ValveView) -> tuple[Compared, ...]:
    if view.element in HELD:
        first, last = (one.astimezone(view.field.zone).date() for one in (view.start, view.end))
        before = _days(view, first - REFERENCE, first)
        return compared(before, _days(view, first, last), view.field.display_units, (HELD[view.element],))
    return compared(view.reference, view.period, view.field.display_units)


@dataclass(frozen=True)
class Repair:
    """Before and after a repair: when, whether it held, each measure."""

    when: str
    held: str
    measures: tuple[Compared, ...]


def _repair(view: ValveView) -> Repair | None:
    if view.compare is None:
        return None
    when, system = view.compare.astimezone(UTC), view.field.display_units
    if view.element in HELD:
        repaired = view.compare.astimezone(view.field.zone)
        after, measures = of_days(view.days, view.element, repaired), _held_around(view, repaired.date())
    else:
        sides = between(view.dumps, when - COMPARED, when), between(view.dumps, when, when + COMPARED)
        after, measures = of_dumps(view.dumps, when), compared(*sides, system)
    said = repair_sentence(after, view.open_findings, when, system)
    return Repair(moment(when, view.field.zone), said, measures)


def _held_around(view: ValveView, repaired: date) -> tuple[Compared, ...]:
    """Return what the valve held in the week before and the week after the day of a repair."""
    first = repaired + timedelta(days=1)
    before, after = _days(view, repaired - COMPARED, repaired), _days(view, first, first + COMPARED)
    return compared(before, after, view.field.display_units, (HELD[view.element],))


def _days(view: ValveView, first: date, end: date) -> pl.DataFrame:
    return view.days.filter(pl.col("day").is_between(first, end, closed="left"))


def _download(view: ValveView) -> Markup | None:
    """Return the period's cycles as a CSV that the page carries in a link; None without any."""
    if view.element in HELD or view.period.is_empty():
        return None
    return link(view.period.drop(GAP), "%Y-%m-%dT%H:%M:%S%.3fZ")


def valve_text(view: ValveView) -> str:
    """Return the short form for a terminal: what stands, what to look at, the numbers beside their reference."""
    lines = [_title(view), "", *textwrap.wrap(_opening(view), _LINE)]
    for row in view.open_findings:
        made = _finding(row, view)
        lines += textwrap.wrap(f"since {made.since}: {made.summary}", _LINE)
        lines += _listed("Look at, in this order", [f"{at}. {check}" for at, check in enumerate(made.checks, start=1)])
    if view.element == "water_dump" and view.is_throttling:
        lines += ["", "The dump throttles: it has no dump cycles."]
    elif view.element == "water_dump":
        count = counted(view.period.height, "dump", "dumps")
        lines += ["", f"{count} in the period, {view.reference.height} in the four weeks before"]
    lines += _table(_measures(view), ("", "four weeks before", "this period", "difference"))
    repair = _repair(view)
    if repair is not None:
        lines += ["", f"Before and after {repair.when}", *textwrap.wrap(repair.held, _LINE)]
        lines += _table(repair.measures, ("", "week before", "week after", "difference"))
    return "\n".join([*lines, "", *textwrap.wrap(CAUTION, _LINE)]) + "\n"


def _listed(title: str, items: Sequence[str]) -> list[str]:
    wrapped = [line for item in items for line in textwrap.wrap(item, _LINE, subsequent_indent="   ")]
    return ["", title, *wrapped] if items else []


def _table(measures: Sequence[Compared], head: tuple[str, ...]) -> list[str]:
    if not measures:
        return []
    rows = [head, *((one.words, one.before, one.after, one.difference) for one in measures)]
    widths = [max(len(row[at]) for row in rows) for at in range(len(head))]
    return ["", *("  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in rows)]


__all__ = ["COMPARED", "REFERENCE", "ValveView", "valve_page", "valve_text"]
