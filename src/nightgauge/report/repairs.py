"""Whether a repair has held: what stands on the valve since, and whether it still does what it did just after."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from nightgauge.report.cycles import (
    AT_LEAST,
    COMPARED,
    GAP,
    HELD,
    TWO_SIDED_95,
    Measure,
    between,
    error_of,
    median_of,
    with_error,
)
from nightgauge.report.quantities import duration
from nightgauge.report.week import Row
from nightgauge.report.words import kind_words
from nightgauge.units import System
from nightgauge.vocabulary.kinds import KINDS

_RESOLUTION_M = 0.00635
"""A quarter inch: float and transmitter repeat no better. Common practice, no source."""
_DAYS_AT_LEAST = 4
"""Days after a repair of a back-pressure valve below which nothing is said: the half and the quarter of fewer are one
day each. House choice."""


@dataclass(frozen=True)
class Since:
    """What happened to one measure after a repair, in order of time."""

    measure: Measure
    values: pl.Series
    of: str
    """What one value is of: dumps or days."""
    at_least: int
    resolution: float
    """Move below which nothing is told, in the measure's unit."""
    lasted: timedelta
    """From the repair to the last value."""


def of_dumps(cycles: pl.DataFrame, when: datetime) -> Since:
    """Return the gaps of the dumps in the week after a repair.

    Parameters
    ----------
    cycles : DUMP_CYCLES with `with_gap`
        Of the vessel.
    when : datetime
        Of the repair, UTC.

    """
    after = between(cycles, when, when + COMPARED).filter(pl.col(GAP).is_not_null())
    lasted = after["opened_utc"].to_list()[-1] - when if after.height else timedelta()
    return Since(Measure(GAP, "m", "gap"), after[GAP], "dumps", 2 * AT_LEAST, _RESOLUTION_M, lasted)


def of_days(days: pl.DataFrame, element: str, repaired: datetime) -> Since:
    """Return the pressures held on the days after a repair of a back-pressure valve, its own day left out.

    Parameters
    ----------
    days : VESSEL_DAYS
        Of the vessel.
    element : str
        oil_valve or gas_valve.
    repaired : datetime
        In the field's zone.

    """
    measure, first = HELD[element], repaired.date()
    after = days.filter(pl.col(measure.column).is_not_null()).sort("day")
    after = after.filter((pl.col("day") > first) & (pl.col("day") <= first + COMPARED))
    lasted = after["day"].to_list()[-1] - first if after.height else timedelta()
    least_move = KINDS[f"{element}_setpoint_step"].limit("least_move").default
    return Since(measure, after[measure.column], "days", _DAYS_AT_LEAST, least_move, lasted)


def repair_sentence(since: Since, standing: Sequence[Row], when: datetime, system: System) -> str:
    """Say whether a repair has held: nothing may stand on the valve, and its measure may not have moved again.

    Parameters
    ----------
    since : Since
        The measure after the repair.
    standing : sequence of rows of FINDINGS
        What stands on the valve now.
    when : datetime
        Of the repair, UTC.
    system : {"oilfield", "metric"}
        Units of the words.

    """
    told = [row for row in standing if row["last_seen"] is not None and row["last_seen"] > when]
    if told:
        what = " and ".join(kind_words(row["kind"], row["element"]) for row in told)
        came = "came back after it" if all(row["onset"] and row["onset"] > when for row in told) else "still stands"
        return f"It has not held: “{what}” {came}."
    values = since.values
    if len(values) < since.at_least:
        return f"Too few {since.of} since then to say whether the repair has held."
    early, late = values.head(len(values) // 2), values.tail(max(len(values) // 4, 1))
    moved = median_of(late) - median_of(early)
    error = TWO_SIDED_95 * math.hypot(error_of(early), error_of(late))
    name = since.measure.words
    if abs(moved) <= max(error, since.resolution):
        lasted = duration(since.lasted.total_seconds())
        return f"It has held for {lasted}: the {name} of the latest {since.of} is that of the first after it."
    said = with_error(moved, error, since.measure, system)
    return f"It has not held: the {name} of the latest {since.of} differs by {said} from that of the first after it."
