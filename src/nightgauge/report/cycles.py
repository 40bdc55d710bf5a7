"""The measures of a dump cycle side by side: reference weeks and period, before and after a repair."""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from nightgauge.report.quantities import duration, in_display_units, shown
from nightgauge.statistics.robust import mad_sigma
from nightgauge.units import System

_CYCLES_AT_LEAST = 5
"""Cycles on each side below which no difference is told. House choice: a median of fewer moves with each."""
_MEDIAN_ERROR = 1.2533
"""Standard error of a median over that of a mean, normal scatter: sqrt(pi / 2). Source: large-sample theory."""
_TWO_SIDED_95 = 1.96
_MOST_DECIMALS = 2
COMPARED = timedelta(days=7)
"""Span on each side of a repair. House choice: a week holds every sort of day of the wells."""


@dataclass(frozen=True)
class Measure:
    """One number of a cycle."""

    column: str
    unit: str
    words: str


GAP = "gap_m"
MEASURES = (
    Measure("opening_level_m", "m", "level at opening"),
    Measure("closing_level_m", "m", "level at shutting"),
    Measure(GAP, "m", "gap between them"),
    Measure("fill_s", "s", "time to fill"),
    Measure("drain_s", "s", "time open"),
    Measure("volume_geometry_m3", "m3", "volume by geometry"),
    Measure("volume_meter_m3", "m3", "volume by meter"),
    Measure("cv_effective", "", "effective Cv"),
)


@dataclass(frozen=True)
class Compared:
    """One measure on two sides, in words."""

    words: str
    before: str
    after: str
    difference: str
    moved: bool
    """Whether the difference is larger than its uncertainty."""


def with_gap(cycles: pl.DataFrame) -> pl.DataFrame:
    """Return the cycles with the gap between opening and closing level."""
    return cycles.with_columns((pl.col("opening_level_m") - pl.col("closing_level_m")).alias(GAP))


def between(cycles: pl.DataFrame, start: datetime, end: datetime) -> pl.DataFrame:
    """Return the cycles that opened from start up to end."""
    return cycles.filter((pl.col("opened_utc") >= start) & (pl.col("opened_utc") < end))


def compared(before: pl.DataFrame, after: pl.DataFrame, system: System) -> tuple[Compared, ...]:
    """Return each measure's median on both sides and the difference with its uncertainty.

    Parameters
    ----------
    before, after : DUMP_CYCLES with `with_gap`
        The two sides.
    system : {"oilfield", "metric"}
        Units of the words.

    Notes
    -----
    The uncertainty is 1.96 times the standard error of the difference of two medians, each
    `1.2533 sigma / sqrt(n)` with sigma from the median absolute deviation; cycles are taken as independent.

    """
    made = (_compare(one, before[one.column].drop_nulls(), after[one.column].drop_nulls(), system) for one in MEASURES)
    return tuple(one for one in made if one is not None)


def _compare(measure: Measure, before: pl.Series, after: pl.Series, system: System) -> Compared | None:
    if before.is_empty() and after.is_empty():
        return None
    left, right = _said(before, measure, system), _said(after, measure, system)
    if min(len(before), len(after)) < _CYCLES_AT_LEAST:
        return Compared(measure.words, left, right, "too few dumps to compare", moved=False)
    difference = _median(after) - _median(before)
    error = _TWO_SIDED_95 * math.hypot(_error(before), _error(after))
    words = _with_error(difference, error, measure, system)
    return Compared(measure.words, left, right, words, moved=abs(difference) > error)


def _median(values: pl.Series) -> float:
    return float(values.to_frame("v").select(pl.col("v").cast(pl.Float64).median()).item())


def _error(values: pl.Series) -> float:
    return _MEDIAN_ERROR * float(mad_sigma(values.cast(pl.Float64).to_numpy())) / math.sqrt(len(values))


def _said(values: pl.Series, measure: Measure, system: System) -> str:
    return "not known" if values.is_empty() else str(shown(_median(values), measure.unit, system))


def _with_error(difference: float, error: float, measure: Measure, system: System) -> str:
    """Return a difference and its uncertainty, both to the uncertainty's second figure: "−0.02 ± 0.15 in"."""
    unit = measure.unit
    if unit == "s":
        return f"{_signed(difference, 0)} ± {error:.0f} s"
    (shown_difference, name), (shown_error, _) = (in_display_units(one, unit, system) for one in (difference, error))
    decimals = 2 if shown_error <= 0 else min(max(1 - math.floor(math.log10(shown_error)), 0), _MOST_DECIMALS)
    return f"{_signed(shown_difference, decimals)} ± {shown_error:.{decimals}f} {name}".strip()


def _signed(number: float, decimals: int) -> str:
    text = f"{number:+,.{decimals}f}"
    return text[1:] if not text.strip("+-0.,") else text.replace("-", "−")


def repair_sentence(cycles: pl.DataFrame, when: datetime, system: System) -> str:
    """Say whether a repair at a time has held: the last day's gap against the scatter of the days after the repair."""
    after = between(cycles, when, when + COMPARED)[GAP].drop_nulls()
    if len(after) < 2 * _CYCLES_AT_LEAST:
        return "Too few dumps since then to say whether the repair has held."
    early, late = after.head(len(after) // 2), after.tail(len(after) // 4)
    moved = _median(late) - _median(early)
    error = _TWO_SIDED_95 * math.hypot(_error(early), _error(late))
    span = between(cycles, when, when + COMPARED)["opened_utc"].to_list()
    held = duration((span[-1] - when).total_seconds())
    if abs(moved) <= max(error, _RESOLUTION_M):
        return f"It has held for {held}: the gap of the latest dumps is that of the first after it."
    said = _with_error(moved, error, Measure(GAP, "m", "gap"), system)
    return f"It has not held: the gap of the latest dumps differs by {said} from that of the first after it."


_RESOLUTION_M = 0.00635
"""A quarter inch: float and transmitter repeat no better. Common practice, no source."""
