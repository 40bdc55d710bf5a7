"""Measures of a valve on two sides: of its dump cycles, or of the days whose pressure it held."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from nightgauge.report.quantities import in_display_units, shown
from nightgauge.statistics.robust import mad_sigma
from nightgauge.units import System

AT_LEAST = 5
"""Cycles or days on each side below which no difference is told. House choice: a median of fewer moves with each."""
_MEDIAN_ERROR = 1.2533
"""Standard error of a median over that of a mean, normal scatter: sqrt(pi / 2). Source: large-sample theory."""
TWO_SIDED_95 = 1.96
_MOST_DECIMALS = 2
COMPARED = timedelta(days=7)
"""Span on each side of a repair. House choice: a week holds every sort of day of the wells."""


@dataclass(frozen=True)
class Measure:
    """One number of a cycle or a day."""

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
HELD = {
    "oil_valve": Measure("oil_hold_kpag", "kPag", "held pressure"),
    "gas_valve": Measure("gas_clip_kpag", "kPag", "opening pressure"),
}
"""What a day tells of a back-pressure valve."""


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


def compared(
    before: pl.DataFrame, after: pl.DataFrame, system: System, measures: Sequence[Measure] = MEASURES
) -> tuple[Compared, ...]:
    """Return each measure's median on both sides and the difference with its uncertainty.

    Parameters
    ----------
    before, after : DUMP_CYCLES with `with_gap`, or VESSEL_DAYS
        The two sides.
    system : {"oilfield", "metric"}
        Units of the words.
    measures : sequence of Measure
        Columns of the two.

    Notes
    -----
    The uncertainty is 1.96 times the standard error of the difference of two medians, each
    `1.2533 sigma / sqrt(n)` with sigma from the median absolute deviation; cycles, or days, are taken as independent.

    """
    made = (_compare(one, before[one.column].drop_nulls(), after[one.column].drop_nulls(), system) for one in measures)
    return tuple(one for one in made if one is not None)


def _compare(measure: Measure, before: pl.Series, after: pl.Series, system: System) -> Compared | None:
    if before.is_empty() and after.is_empty():
        return None
    left, right = _said(before, measure, system), _said(after, measure, system)
    if min(len(before), len(after)) < AT_LEAST:
        return Compared(measure.words, left, right, "too few to compare", moved=False)
    difference = median_of(after) - median_of(before)
    error = TWO_SIDED_95 * math.hypot(error_of(before), error_of(after))
    words = with_error(difference, error, measure, system)
    return Compared(measure.words, left, right, words, moved=abs(difference) > error)


def median_of(values: pl.Series) -> float:
    """Return the median; there has to be a value."""
    return float(values.to_frame("v").select(pl.col("v").cast(pl.Float64).median()).item())


def error_of(values: pl.Series) -> float:
    """Return the standard error of the median."""
    return _MEDIAN_ERROR * float(mad_sigma(values.cast(pl.Float64).to_numpy())) / math.sqrt(len(values))


def _said(values: pl.Series, measure: Measure, system: System) -> str:
    return "not known" if values.is_empty() else str(shown(median_of(values), measure.unit, system))


def with_error(difference: float, error: float, measure: Measure, system: System) -> str:
    """Return a difference and its uncertainty, both to the uncertainty's second figure: "−0.02 ± 0.15 in"."""
    unit = "kPa" if measure.unit == "kPag" else measure.unit
    if unit == "s":
        return f"{_signed(difference, 0)} ± {error:.0f} s"
    (shown_difference, name), (shown_error, _) = (in_display_units(one, unit, system) for one in (difference, error))
    decimals = 2 if shown_error <= 0 else min(max(1 - math.floor(math.log10(shown_error)), 0), _MOST_DECIMALS)
    return f"{_signed(shown_difference, decimals)} ± {shown_error:.{decimals}f} {name}".strip()


def _signed(number: float, decimals: int) -> str:
    text = f"{number:+,.{decimals}f}"
    return text[1:] if not text.strip("+-0.,") else text.replace("-", "−")
