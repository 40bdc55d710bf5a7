"""Faults and hands-on as curves: what each does to the plant, minute by minute.

| kind | size is |
|---|---|
| interface_setpoint_drift, _step | rise of both float marks [m] |
| float_sticking | mean extra pull either way before the float lets go [m] |
| dump_short_cycling | share of the gap lost [1] |
| dump_leaking | Cv that stays open [gpm/psi^0.5] |
| dump_restricted | share of the Cv lost [1] |
| dump_hunting | stick band of the float, share of travel [1] |
| oil_/gas_valve_setpoint_drift, _step, back_pressure_margin_lost | rise of the held pressure [kPa] |
| back_pressure_hunting | what the stem sticks, as a share of the spring's pull over the travel [1] |
| pressure_not_held | share of the valve's capacity that stays open [1] |
| water_in_oil | extra cut [1] |
| liquid_in_gas | extra carried liquid, times the sound value [1] |
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.simulate.plan import Fault, Interval, Plan, VesselPlan

Array = npt.NDArray[np.float64]

HUNTING_LAG_S = 10.0
"""A valve whose damping has gone answers this late. [s]"""

PARAMETERS = (
    "opens_at_m", "closes_at_m", "scatter_m", "stick_m", "leak_cv", "cv_share", "float_stick", "slack",
    "oil_holds_kpag", "gas_holds_kpag", "oil_stick", "gas_stick", "oil_lag_s", "gas_lag_s", "oil_floor", "gas_floor",
    "extra_cut", "mist", "jam_shut", "jam_open", "hand_open",
)  # fmt: skip


@dataclass(frozen=True)
class Curves:
    """Values of each parameter, arrays of (minutes, vessels)."""

    values: dict[str, Array]

    def __getitem__(self, name: str) -> Array:
        """Return one parameter's array."""
        return self.values[name]


def curves(plan: Plan, first_minute: int, minutes: int) -> Curves:
    """Return every parameter over a stretch of the plan."""
    seconds = 60.0 * (first_minute + np.arange(minutes, dtype=np.float64))
    values = {name: np.tile([_sound(v, name) for v in plan.vessels], (minutes, 1)) for name in PARAMETERS}
    for place, vessel in enumerate(plan.vessels):
        for fault in vessel.faults:
            _add(values, place, vessel, fault, seconds)
        for hand in vessel.hand_dumps:
            values["hand_open"][:, place] += inside(seconds, hand)
    return Curves(values)


def grown(fault: Fault, seconds: Array) -> Array:
    """Return how much of a fault is there: 0 before, rising over its ramp, 0 again after its end."""
    end = np.inf if fault.end_s is None else fault.end_s
    there = (seconds >= fault.start_s) & (seconds < end)
    share = np.clip((seconds - fault.start_s) / fault.ramp_s, 0.0, 1.0) if fault.ramp_s > 0.0 else np.ones_like(seconds)
    return np.where(there, share, 0.0)


def inside(seconds: Array, interval: Interval) -> Array:
    """Return 1 inside an interval, 0 outside."""
    return ((seconds >= interval.start_s) & (seconds < interval.end_s)).astype(np.float64)


def _sound(vessel: VesselPlan, name: str) -> float:
    """Return a parameter's value on a sound vessel."""
    p = vessel.physics
    known = {
        "opens_at_m": p.opens_at_m,
        "closes_at_m": p.closes_at_m,
        "scatter_m": p.trip_scatter_m if vessel.is_snap else 0.0,
        "cv_share": 1.0,
        "slack": 0.0 if vessel.is_snap else p.slack,
        "float_stick": 0.0 if vessel.is_snap else p.slack,
        "oil_holds_kpag": p.oil_holds_kpag,
        "gas_holds_kpag": p.gas_holds_kpag,
        "gas_floor": p.seat_leak,
        "mist": p.mist,
    }
    return known.get(name, 0.0)


def _add(values: dict[str, Array], place: int, vessel: VesselPlan, fault: Fault, seconds: Array) -> None:
    share = grown(fault, seconds)
    gap = vessel.physics.opens_at_m - vessel.physics.closes_at_m
    moved = fault.size * share
    kind = fault.kind
    changes: dict[str, Array] = {}
    if kind.startswith("interface_setpoint"):
        changes = {"opens_at_m": moved, "closes_at_m": moved}
    elif kind == "dump_short_cycling":
        changes = {"opens_at_m": -0.5 * gap * moved, "closes_at_m": 0.5 * gap * moved}
    elif kind == "dump_hunting":
        changes = {"float_stick": moved, "slack": -vessel.physics.slack * (share > 0.0).astype(np.float64)}
    elif kind == "back_pressure_hunting":
        changes = {
            f"{fault.valve}_stick": moved,
            f"{fault.valve}_lag_s": HUNTING_LAG_S * (share > 0.0).astype(np.float64),
        }
    elif kind == "pressure_not_held":
        changes = {f"{fault.valve}_floor": moved}
    elif kind.startswith(("oil_valve", "gas_valve", "back_pressure_margin")):
        changes = {f"{'oil' if kind.startswith('oil') else 'gas'}_holds_kpag": moved}
    elif kind in _PLAIN:
        name, factor = _PLAIN[kind]
        changes = {name: factor * moved}
    elif kind == "liquid_in_gas":
        changes = {"mist": vessel.physics.mist * moved}
    for name, change in changes.items():
        values[name][:, place] += change


_PLAIN = {
    "float_sticking": ("stick_m", 1.0),
    "dump_leaking": ("leak_cv", 1.0),
    "dump_restricted": ("cv_share", -1.0),
    "water_in_oil": ("extra_cut", 1.0),
    "float_stuck_closed": ("jam_shut", 1.0),
    "float_stuck_open": ("jam_open", 1.0),
}
