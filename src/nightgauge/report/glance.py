"""The field at a glance: one row a vessel, its week beside its own normal, its settings and its findings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta

import polars as pl
from markupsafe import Markup, escape

from nightgauge.field.settings import Vessel
from nightgauge.report.cards import SHAPES, anchor
from nightgauge.report.quantities import display_column, in_display_units, percent, rounded, shown
from nightgauge.report.week import Row, WeekView
from nightgauge.report.words import kind_words

_NORMAL_DAYS_AT_LEAST = 5
"""Days before the week below which no normal is drawn. House choice: a 10-90 % band of fewer is noise."""
_BAR_PX, _STRIP_HEIGHT_PX = 9, 22


@dataclass(frozen=True)
class Cell:
    """One number of a vessel's week: words, quiet words, what to sort by, a strip of its seven days."""

    words: str
    quiet: str = ""
    sort: float | None = None
    strip: Markup | None = None


@dataclass(frozen=True)
class Link:
    """One finding of the vessel, with the shape of its priority and a link to its card."""

    shape: str
    priority: str
    words: str
    anchor: str


@dataclass(frozen=True)
class VesselRow:
    """One vessel's week."""

    vessel: str
    name: str
    service: str
    anchor: str
    about: str
    findings: tuple[Link, ...]
    cleared: tuple[Link, ...]
    nothing: str | None
    rank: int
    dumps: Cell
    retention: Cell
    pressure: Cell
    coverage: Cell


def glance(view: WeekView) -> tuple[VesselRow, ...]:
    """Return one row for each vessel of the field, in the field's order."""
    days = {str(key[0]): part for key, part in view.days.partition_by("vessel", as_dict=True).items()}
    open_findings = [*view.lists.visit, *view.lists.know, *view.lists.fixed, *view.lists.parked]
    by_vessel: dict[str, list[Row]] = {}
    for row in open_findings:
        by_vessel.setdefault(row["vessel"], []).append(row)
    return tuple(
        _row(vessel, view, days.get(vessel.id, view.days.clear()), by_vessel.get(vessel.id, []))
        for vessel in view.field.vessels
    )


def _row(vessel: Vessel, view: WeekView, days: pl.DataFrame, findings: Sequence[Row]) -> VesselRow:
    week = _with_known(_seven(days, view), view.field.signals_of(vessel.id))
    coverage = _coverage_cell(week, view)
    links = tuple(
        Link(SHAPES.get(one["priority"], "•"), one["priority"], kind_words(one["kind"], one["element"]),
             anchor("finding", one["id"]))
        for one in findings
    )  # fmt: skip
    ended = tuple(
        Link("", "low", f"cleared: {kind_words(one['kind'], one['element'])}", anchor("finding", one["id"]))
        for one in view.lists.cleared
        if one["vessel"] == vessel.id
    )
    nothing = None if links else _nothing(coverage)
    return VesselRow(
        vessel=vessel.id,
        name=vessel.name or "",
        service=vessel.service,
        anchor=anchor("vessel", vessel.id),
        about=anchor("about", vessel.id),
        findings=links,
        cleared=ended,
        nothing=nothing,
        rank=_rank(findings),
        dumps=_dumps_cell(vessel, week, days, view),
        retention=_retention_cell(week),
        pressure=_pressure_cell(vessel, week, view),
        coverage=coverage,
    )


def _nothing(coverage: Cell) -> str:
    """Return what stands where no finding does; a week nothing is known of is not a quiet week."""
    said = "nothing found" if coverage.sort else "could not be judged"
    return f"{said} (coverage {coverage.words})"


def _with_known(week: pl.DataFrame, signals: frozenset[str]) -> pl.DataFrame:
    """Let the best known signal speak where a vessel has no dumps to know of, as with a throttling valve."""
    columns = [f"coverage_{signal}" for signal in sorted(signals)]
    if not columns or week["coverage"].fill_null(0.0).sum() > 0:
        return week
    return week.with_columns(coverage=pl.max_horizontal(columns))


def _rank(findings: Sequence[Row]) -> int:
    """Return a number that sorts vessels by what stands on them: the worst priority first, then how many."""
    weight = {"high": 10_000, "medium": 100, "low": 1}
    return sum(weight.get(one["priority"], 0) for one in findings)


def _seven(days: pl.DataFrame, view: WeekView) -> pl.DataFrame:
    """Return the seven days of the week, null where nothing is stored."""
    week = pl.DataFrame({"day": [view.monday + timedelta(days=at) for at in range(7)]}, schema={"day": pl.Date})
    return week.join(days, on="day", how="left", maintain_order="left")


def _dumps_cell(vessel: Vessel, week: pl.DataFrame, days: pl.DataFrame, view: WeekView) -> Cell:
    """Return dumps a day beside what is usual; of a throttling dump, which has none, water and travel."""
    if vessel.water_dump_at(view.end).action == "throttling":
        return _throttling_cell(vessel, week, days, view)
    median = _median(week["dumps"])
    if median is None:
        return Cell("–", "no dumps known")
    before = days.filter(pl.col("day") < view.monday)["dumps"].drop_nulls().cast(pl.Float64)
    low, high = _band(before)
    normal = "" if low is None or high is None else f"usual {_range_text(low, high)}"
    usual = _median(before)
    return Cell(
        f"{rounded(median)} a day",
        normal,
        None if not usual else median / usual,
        strip(week["dumps"].cast(pl.Float64).to_list(), view.monday, (low, high), "dumps"),
    )


def _throttling_cell(vessel: Vessel, week: pl.DataFrame, days: pl.DataFrame, view: WeekView) -> Cell:
    of_vessel = (pl.col("vessel") == vessel.id) & (pl.col("signal") == "water_dump_position")
    in_week = (pl.col("hour_utc") >= view.start.astimezone(UTC)) & (pl.col("hour_utc") < view.end.astimezone(UTC))
    travel = _median(view.levels.filter(of_vessel & in_week)["mean"])
    opened = "throttling" if travel is None else f"throttling, open {percent(travel)}"
    system, column = view.field.display_units, "water_load_m3_per_day"
    median = _median(week[column])
    if median is None:
        return Cell("–" if travel is None else f"open {percent(travel)}", "throttling: no dump cycles")
    loads, unit = display_column(week[column], "m3/day", system)
    before, _ = display_column(days.filter(pl.col("day") < view.monday)[column].drop_nulls(), "m3/day", system)
    low, high = _band(before)
    normal = "" if low is None or high is None else f"; usual {_range_text(low, high)}"
    usual = _median(before)
    return Cell(
        f"water {shown(median, 'm3/day', system)}",
        f"{opened}{normal}",
        None if not usual else (_median(loads) or 0.0) / usual,
        strip(loads.to_list(), view.monday, (low, high), f"water, {unit}"),
    )


def _range_text(low: float, high: float) -> str:
    first, last = rounded(round(low)), rounded(round(high))
    return first if first == last else f"{first}–{last}"


def _band(before: pl.Series) -> tuple[float | None, float | None]:
    if len(before) < _NORMAL_DAYS_AT_LEAST:
        return None, None
    return before.quantile(0.1, "linear"), before.quantile(0.9, "linear")


def _median(values: pl.Series) -> float | None:
    found = values.drop_nulls().median()
    return float(found) if isinstance(found, int | float) else None


def _retention_cell(week: pl.DataFrame) -> Cell:
    """Return the tighter phase: retention of the week's median day beside what is required."""
    best: Cell | None = None
    for phase in ("water", "oil"):
        found, need = _median(week[f"{phase}_retention_min"]), _median(week[f"{phase}_required_min"])
        if found is None or not need:
            continue
        short = float(week[f"{phase}_short_h"].fill_null(0.0).sum())
        quiet = f"needs {rounded(need, 'min')}" + (f"; short {short:.0f} h" if short > 0 else "")
        cell = Cell(f"{phase} {rounded(found, 'min')} min", quiet, found / need)
        if best is None or (best.sort is not None and found / need < best.sort):
            best = cell
    return best or Cell("–")


def _pressure_cell(vessel: Vessel, week: pl.DataFrame, view: WeekView) -> Cell:
    """Return the pressure held by the oil valve beside its setting; the gas valve's where only that is known."""
    system = view.field.display_units
    oil, gas = vessel.oil_valve_at(view.end), vessel.gas_valve_at(view.end)
    for column, which, valve in (("oil_hold_kpag", "oil valve", oil), ("gas_clip_kpag", "gas valve", gas)):
        held = _median(week[column])
        if held is None:
            continue
        if valve.holds_kpag is None:
            return Cell(str(shown(held, "kPag", system)), which)
        setting, _ = in_display_units(valve.holds_kpag, "kPag", system)
        words = f"{which} set {rounded(setting, shown(held, 'kPag', system).unit)}"
        return Cell(str(shown(held, "kPag", system)), words, abs(held - valve.holds_kpag))
    return Cell("–")


def _coverage_cell(week: pl.DataFrame, view: WeekView) -> Cell:
    judged = week.head(view.days_so_far)["coverage"].fill_null(0.0)
    mean = judged.mean()
    share = float(mean) if isinstance(mean, float) else 0.0
    known = (week["coverage"] * 100).to_list()
    bars = strip(known, view.monday, (None, None), "% known", top=100.0)
    return Cell(percent(share), sort=share, strip=bars)


def coverage_of(rows: Sequence[VesselRow]) -> float:
    """Return the share of the week so far that is known, over all vessels."""
    return sum(row.coverage.sort or 0.0 for row in rows) / len(rows) if rows else 0.0


def strip(
    values: Sequence[float | None], monday: date, usual: tuple[float | None, float | None], what: str,
    *, top: float | None = None,
) -> Markup:  # fmt: skip
    """Return seven bars, a day each, over the band of usual days; a missing day is a gap with a dot at its foot."""
    known = [value for value in values if value is not None]
    highest = top or max([*known, usual[1] or 0.0, 1e-9])
    parts = []
    if usual[0] is not None and usual[1] is not None:
        above, below = (_STRIP_HEIGHT_PX * (1 - edge / highest) for edge in (usual[1], usual[0]))
        tall = max(below - above, 1)
        parts.append(f'<rect class="usual" x="0" y="{above:.1f}" width="{7 * _BAR_PX}" height="{tall:.1f}"/>')
    for at, value in enumerate(values):
        if value is None:
            parts.append(f'<circle class="none" cx="{at * _BAR_PX + 4}" cy="{_STRIP_HEIGHT_PX - 1.5}" r="1"/>')
            continue
        height = max(_STRIP_HEIGHT_PX * value / highest, 0.8)
        sort = "out" if _is_outside(value, usual) else "in"
        parts.append(f'<rect class="{sort}" x="{at * _BAR_PX + 1}" y="{_STRIP_HEIGHT_PX - height:.1f}" '
                     f'width="{_BAR_PX - 2}" height="{height:.1f}"/>')  # fmt: skip
    words = escape(_strip_words(values, monday, what))
    return Markup(
        f'<svg class="strip" viewBox="0 0 {7 * _BAR_PX} {_STRIP_HEIGHT_PX}" role="img" aria-label="{words}">'
        f"<title>{words}</title>{''.join(parts)}</svg>"
    )


def _is_outside(value: float, usual: tuple[float | None, float | None]) -> bool:
    low, high = usual
    return low is not None and high is not None and not low <= value <= high


def _strip_words(values: Sequence[float | None], monday: date, what: str) -> str:
    numbers = ("not known" if value is None else rounded(value) for value in values)
    days = (f"{monday + timedelta(days=at):%a} {number}" for at, number in enumerate(numbers))
    return f"{what}: {', '.join(days)}"


SORTS: Mapping[str, str] = {
    "findings": "Findings",
    "dumps": "Dumps or flow",
    "retention": "Retention",
    "pressure": "Held pressure",
    "coverage": "Known",
}
"""Columns of the table: the attribute of a row and its heading."""
