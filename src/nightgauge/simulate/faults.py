"""Faults drawn for a vessel: sizes and times, each kind in its own measure (see `curves`)."""

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from nightgauge.simulate.design import BARREL, GPM_PER_M3_DAY, INCH, PSI, Design, water_volume_m3
from nightgauge.simulate.plan import DAY_S, HOUR_S, Fault, WellPlan
from nightgauge.vocabulary.showable import is_showable

Rng = np.random.Generator

KINDS = (
    "float_stuck_closed", "float_stuck_open", "float_sticking", "dump_leaking", "dump_restricted",
    "dump_short_cycling", "dump_hunting", "interface_setpoint_drift", "interface_setpoint_step",
    "oil_valve_setpoint_drift", "oil_valve_setpoint_step", "gas_valve_setpoint_drift", "gas_valve_setpoint_step",
    "back_pressure_margin_lost", "back_pressure_hunting", "pressure_not_held", "vessel_undersized", "water_in_oil",
    "liquid_in_gas", "instrument_frozen", "instrument_drift", "data_gap",
)  # fmt: skip
"""The kinds that fleets are drawn from."""

ASKED = ("well_test_decline", "anode_spent", "anode_current_lost", "anode_current_jumped")
"""Kinds that a fleet has only where they are asked for: of wells and anodes, drawn beside the others."""

_SNAP_ONLY = ("float_sticking", "dump_short_cycling", "dump_restricted")
_OIL_HELD = ("oil_valve_setpoint_drift", "oil_valve_setpoint_step")
_GAS_HELD = ("gas_valve_setpoint_drift", "gas_valve_setpoint_step")


def fits(kind: str, design: Design) -> bool:
    """Return whether the kind can befall this vessel at all."""
    if kind in _SNAP_ONLY:
        return design.action == "snap"
    if kind == "dump_hunting":
        return design.action == "throttling"
    if kind in _OIL_HELD:
        return design.regime == "oil"
    if kind in _GAS_HELD:
        return design.regime == "gas"
    if kind == "back_pressure_margin_lost":
        return design.regime == "both"
    if kind == "liquid_in_gas":
        return design.regime != "oil"
    if kind == "vessel_undersized":
        return design.service != "test vessel"
    return True


def shows(kind: str, signals: frozenset[str]) -> bool:
    """Return whether a vessel with these signals shows a kind at all; kinds outside the format's table need any."""
    if kind in ("instrument_frozen", "instrument_drift"):
        return bool(_targets(kind, signals))
    return is_showable(kind, signals) is not False


def _targets(kind: str, signals: frozenset[str]) -> list[str]:
    """Return the transmitters whose freeze or drift the other signals can show."""
    return [s for s in ("interface_level", "vessel_pressure") if s in signals and is_showable(kind, signals, s)]


def draw(kind: str, design: Design, signals: frozenset[str], days: int, rng: Rng) -> Fault:
    """Return a fault of this kind at a random time of the plan's middle part."""
    start = float(rng.uniform(0.35, 0.75)) * days * DAY_S
    fault = _DRAWS[kind](design, rng)
    if kind in ("instrument_frozen", "instrument_drift"):
        found = _targets(kind, signals) or sorted(s for s in signals if s in ("interface_level", "vessel_pressure"))
        signal = found[int(rng.integers(len(found)))] if found else "interface_level"
        fault = replace(fault, signal=signal)
        if kind == "instrument_drift" and signal == "vessel_pressure":
            fault = replace(fault, size=_either(rng) * float(rng.uniform(3.0, 6.0)) * PSI)
    if fault.end_s is not None:
        fault = replace(fault, end_s=start + fault.end_s)
    return replace(fault, kind=kind, start_s=start)


def added_wells(wells: tuple[WellPlan, ...], fault: Fault, design: Design) -> tuple[WellPlan, ...]:
    """Return the wells with one more that brings retention down to the fault's share of what is required."""
    needed = water_volume_m3(design) / (design.water_minutes * fault.size / 1440.0)
    more = needed - design.water_bpd * BARREL
    last = wells[-1]
    share = more / (design.water_bpd * BARREL)
    extra = replace(
        last,
        settings=replace(last.settings, id=f"{last.settings.id}X"),
        water_m3_per_day=more,
        oil_m3_per_day=design.oil_bpd * BARREL * min(share, 1.0) * 0.5,
        gas_m3_per_day=sum(w.gas_m3_per_day for w in wells) * min(share, 1.0) * 0.2,
        off=(),
        starts_s=fault.start_s,
    )
    return (*wells, extra)


def _either(rng: Rng) -> float:
    return float(rng.choice((-1.0, 1.0)))


def _days(rng: Rng, low: float, high: float) -> float:
    return float(rng.uniform(low, high)) * DAY_S


def _jam(_: Design, rng: Rng) -> Fault:
    return Fault("", 0.0, end_s=float(np.exp(rng.uniform(np.log(10.0), np.log(96.0)))) * HOUR_S)


def _sticking(d: Design, rng: Rng) -> Fault:
    return Fault("", 0.0, size=d.gap_in * INCH * float(rng.uniform(0.25, 0.5)), ramp_s=_days(rng, 2, 8))


def _leaking(d: Design, rng: Rng) -> Fault:
    inflow_cv = d.water_bpd * BARREL * GPM_PER_M3_DAY / np.sqrt(d.water_drop_psi / d.water_gravity)
    return Fault("", 0.0, size=float(inflow_cv * rng.uniform(0.25, 0.9)), ramp_s=_days(rng, 2, 10))


def _restricted(d: Design, rng: Rng) -> Fault:
    most = 1.0 - 1.3 / d.dump_factor  # past this the open valve falls behind the inflow
    return Fault("", 0.0, size=min(float(rng.uniform(0.4, 0.75)), most), ramp_s=_days(rng, 0.01, 6))


def _setpoint(low: float, high: float, unit: float, ramp: tuple[float, float] | None) -> Callable[[Design, Rng], Fault]:
    def drawn(_: Design, rng: Rng) -> Fault:
        size = _either(rng) * float(rng.uniform(low, high)) * unit
        return Fault("", 0.0, size=size, ramp_s=0.0 if ramp is None else _days(rng, *ramp))

    return drawn


def _oil(ramp: tuple[float, float] | None) -> Callable[[Design, Rng], Fault]:
    def drawn(d: Design, rng: Rng) -> Fault:
        size = float(rng.uniform(2.5, 6.0))
        # Up past the gas valve it would be a lost margin; a spring that weakens goes down anyhow.
        up = size < d.margin_psi - d.oil_droop_psi and rng.random() < 0.5
        return Fault("", 0.0, size=(size if up else -size) * PSI, ramp_s=0.0 if ramp is None else _days(rng, *ramp))

    return drawn


def _margin(d: Design, rng: Rng) -> Fault:
    left = float(rng.uniform(-0.8, 0.6))
    return Fault("", 0.0, size=-(d.margin_psi - left) * PSI, ramp_s=_days(rng, 4, 12) if rng.random() < 0.6 else 0.0)


def _hunting(d: Design, rng: Rng) -> Fault:
    valve: Literal["oil", "gas"] = "gas" if d.regime == "gas" else "oil"
    droop = d.gas_droop_psi if valve == "gas" else d.oil_droop_psi
    # A stem that sticks over S of its spring's pull swings the pressure by 2 S - 1 times the droop, if S > 1.
    swing = float(rng.uniform(2.0, 4.5))
    return Fault("", 0.0, size=max(0.5 + 0.5 * swing / droop, 1.05), valve=valve)


def _not_held(d: Design, rng: Rng) -> Fault:
    ramp = _days(rng, 0.01, 2)
    if d.regime == "oil":
        return Fault("", 0.0, size=float(rng.uniform(0.7, 1.0)), valve="oil", ramp_s=ramp)
    return Fault("", 0.0, size=float(rng.uniform(0.3, 0.5)), valve="gas", ramp_s=ramp)


def _plain(low: float, high: float, ramp: tuple[float, float] | None) -> Callable[[Design, Rng], Fault]:
    def drawn(_: Design, rng: Rng) -> Fault:
        return Fault("", 0.0, size=float(rng.uniform(low, high)), ramp_s=0.0 if ramp is None else _days(rng, *ramp))

    return drawn


def _passing(low_h: float, high_h: float) -> Callable[[Design, Rng], Fault]:
    def drawn(_: Design, rng: Rng) -> Fault:
        return Fault("", 0.0, end_s=float(rng.uniform(low_h, high_h)) * HOUR_S)

    return drawn


_SLOW = (8.0, 18.0)
_DRAWS: dict[str, Callable[[Design, Rng], Fault]] = {
    "float_stuck_closed": _jam,
    "float_stuck_open": _jam,
    "float_sticking": _sticking,
    "dump_leaking": _leaking,
    "dump_restricted": _restricted,
    "dump_short_cycling": _plain(0.75, 0.92, (0.01, 2.0)),
    "dump_hunting": _plain(0.35, 0.6, (0.01, 1.0)),
    "interface_setpoint_drift": _setpoint(3.0, 6.0, INCH, _SLOW),
    "interface_setpoint_step": _setpoint(1.5, 4.0, INCH, None),
    "oil_valve_setpoint_drift": _oil(_SLOW),
    "oil_valve_setpoint_step": _oil(None),
    "gas_valve_setpoint_drift": _setpoint(2.5, 6.0, PSI, _SLOW),
    "gas_valve_setpoint_step": _setpoint(2.5, 5.0, PSI, None),
    "back_pressure_margin_lost": _margin,
    "back_pressure_hunting": _hunting,
    "pressure_not_held": _not_held,
    "vessel_undersized": _plain(0.55, 0.8, None),
    "water_in_oil": _plain(0.06, 0.25, (2.0, 6.0)),
    "liquid_in_gas": _plain(3.0, 9.0, (1.0, 5.0)),
    "instrument_frozen": _passing(36.0, 200.0),
    "instrument_drift": _setpoint(3.0, 6.0, INCH, _SLOW),
    "data_gap": _passing(30.0, 120.0),
}
