"""By when a fault has to be told: the bench's deadlines for stuck floats and for drifts.

A stuck float is due the first night after the longer of six hours and three of the vessel's own periods. The clock
runs through hours without water coming in, which the truth does not tell: such a fault is asked for too early. A drift
is due before it has moved the larger of 3 % of the held pressure and 1.5 psi, or 2 inches of level; that needs its
size and its growth, which the truth's detail may say: "spring moved -4.20 psi over 11.3 days".
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from nightgauge.field.settings import Field, Vessel
from nightgauge.score.truth import Known
from nightgauge.units import UnitProblem, conversion

STUCK = ("float_stuck_closed", "float_stuck_open")
DRIFTS = (
    "oil_valve_setpoint_drift", "gas_valve_setpoint_drift", "interface_setpoint_drift", "instrument_drift",
)  # fmt: skip

LEAST_STUCK, PERIODS = timedelta(hours=6), 3.0
HELD_SHARE, LEAST_KPA, LEVEL_M = 0.03, 1.5 * 6.894757293168361, 2.0 * 0.0254
"""Fixed by the bench's definition."""
NIGHT = timedelta(days=1)
"""Between two nights."""
FIRST_WEEKS = timedelta(days=14)
"""Over which a vessel's own period is taken. House choice: faults of a bench begin later, and load wanders."""

_GROWTH = re.compile(
    r"(?P<size>[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?) (?P<unit>[A-Za-z]+) over (?P<days>\d+(?:\.\d+)?) days"
)


@dataclass(frozen=True)
class Pace:
    """What a vessel's deadlines are measured by; None where it is not known."""

    period_s: float | None = None
    """From one dump to the next, in the median of its first weeks."""
    oil_kpag: float | None = None
    gas_kpag: float | None = None
    """Pressures held by the valves as written down."""


def paces_of(field: Field, cycles: pl.DataFrame, start: datetime) -> dict[str, Pace]:
    """Return each vessel's pace from its settings and the dumps (DUMP_CYCLES) of the first weeks from `start` on."""
    first = cycles.filter(pl.col("opened_utc") < start + FIRST_WEEKS).sort("vessel", "opened_utc")
    gaps = first.with_columns(gap=pl.col("opened_utc").diff().over("vessel").dt.total_microseconds() / 1e6)
    periods: dict[str, float | None] = dict(gaps.group_by("vessel").agg(pl.col("gap").median()).iter_rows())
    return {vessel.id: _pace(vessel, periods.get(vessel.id), start) for vessel in field.vessels}


def _pace(vessel: Vessel, period_s: float | None, start: datetime) -> Pace:
    return Pace(period_s, vessel.oil_valve_at(start).holds_kpag, vessel.gas_valve_at(start).holds_kpag)


def deadline(fault: Known, paces: Mapping[str, Pace]) -> datetime | None:
    """Return the time before which a fault has to be told, None where there is no deadline or it is not known.

    A fault that ends before its deadline has none, nor has a drift that never moves that far.
    """
    pace = paces.get(fault.vessel, Pace())
    if fault.kinds[0] in STUCK:
        due = fault.start + max(LEAST_STUCK, timedelta(seconds=PERIODS * (pace.period_s or 0.0)))
        # The first night at or after it: less than a night's distance later.
        return None if fault.end is not None and fault.end < due else due + NIGHT
    if fault.kinds[0] in DRIFTS:
        return _drift_deadline(fault, pace)
    return None


def _drift_deadline(fault: Known, pace: Pace) -> datetime | None:
    told = _GROWTH.search(fault.detail)
    if told is None:
        return None
    is_level = fault.kinds[0] == "interface_setpoint_drift" or fault.of_signal == "interface_level"
    allowed = LEVEL_M if is_level else _pressure_allowance(fault, pace)
    try:
        to_si = conversion(told["unit"], "length" if is_level else "pressure difference")
    except UnitProblem:
        return None
    size = abs(float(told["size"]) * to_si.factor)
    if allowed is None or size <= allowed:
        return None
    return fault.start + timedelta(days=float(told["days"])) * (allowed / size)


def _pressure_allowance(fault: Known, pace: Pace) -> float | None:
    """Return how far a pressure may drift untold. [kPa]"""
    held = pace.gas_kpag if fault.kinds[0].startswith("gas") else pace.oil_kpag
    return None if held is None else max(HELD_SHARE * held, LEAST_KPA)
