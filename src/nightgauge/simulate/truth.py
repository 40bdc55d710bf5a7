"""truth.csv: what was done to the plant, with the kinds that the vessel's signals cannot tell apart."""

import polars as pl

from nightgauge.simulate.plan import Fault, Plan, VesselPlan

HEADER = ("vessel", "kind", "start", "end", "detail")


def truth_rows(plan: Plan) -> pl.DataFrame:
    """Return truth.csv's rows: one per fault, ordered as the vessels are; stamps with the field's offset."""
    rows = [
        (
            vessel.id,
            "|".join(kinds(vessel, fault)),
            _stamp(plan, fault.start_s),
            "" if fault.end_s is None or fault.end_s >= plan.days * 86400.0 else _stamp(plan, fault.end_s),
            detail(fault),
        )
        for vessel in plan.vessels
        for fault in vessel.faults
    ]
    return pl.DataFrame(rows, schema=dict.fromkeys(HEADER, pl.String), orient="row")


def _stamp(plan: Plan, second: float) -> str:
    return plan.at(round(second)).astimezone(plan.zone).isoformat()


def kinds(vessel: VesselPlan, fault: Fault) -> tuple[str, ...]:
    """Return the kind of a fault, then those that look the same through the vessel's signals.

    A moved float and a drifting level transmitter are one to every other signal: volume per dump hardly changes
    with level, and cut or oil in water move only near the weir or the outlet. The header tells a pressure
    transmitter from a spring. A gas valve that comes down to the oil valve is both drift and lost margin. A sticking
    throttling float is a hunting one.
    """
    signals = vessel.signals()
    kind = fault.kind
    same: tuple[str, ...] = ()
    if kind in ("interface_setpoint_drift", "interface_setpoint_step"):
        same = ("instrument_drift",)
    elif kind == "instrument_drift" and fault.signal == "interface_level":
        same = ("interface_setpoint_drift",)
    elif kind == "instrument_drift" and "inlet_pressure" not in signals:
        same = ("oil_valve_setpoint_drift", "gas_valve_setpoint_drift")
    elif kind in _SPRINGS and "inlet_pressure" not in signals:
        same = ("instrument_drift",)
    if kind == "back_pressure_margin_lost":
        same = ("gas_valve_setpoint_drift" if fault.ramp_s > 0.0 else "gas_valve_setpoint_step",)
    elif kind.startswith("gas_valve") and _margin_kpa(vessel) + fault.size < _MARGIN_KPA:
        same = (*same, "back_pressure_margin_lost")
    elif kind == "dump_hunting":
        same = ("float_sticking",)
    return (kind, *same)


_MARGIN_KPA = 2.0 * 6.894757  # below about 2 psi of margin the fluids leave by the wrong outlets
_SPRINGS = (
    "oil_valve_setpoint_drift", "oil_valve_setpoint_step", "gas_valve_setpoint_drift", "gas_valve_setpoint_step",
)  # fmt: skip


def _margin_kpa(vessel: VesselPlan) -> float:
    return vessel.physics.gas_holds_kpag - vessel.physics.oil_holds_kpag


def detail(fault: Fault) -> str:
    """Return what was done, in words with numbers."""
    growth = f" over {fault.ramp_s / 86400.0:.1f} days" if fault.ramp_s > 0.0 else " at once"
    where = f" of {fault.signal}" if fault.signal else ""
    text = _WORDS.get(fault.kind)
    if text is None:
        return fault.kind + where
    return text.format(
        size=fault.size,
        inch=fault.size / 0.0254,
        psi=fault.size / 6.894757,
        part=fault.part,
        share=100.0 * fault.size,
        unit="kPa" if fault.signal == "vessel_pressure" else "m",
        growth=growth,
        where=where,
        valve=fault.valve,
    )


_PRESSURE = "spring moved {psi:+.2f} psi{growth}"
_WORDS = {
    "float_stuck_closed": "float jams the next time it is shut",
    "float_stuck_open": "float jams the next time it is open",
    "float_sticking": "float pulls {inch:.1f} in more on average before it lets go{growth}",
    "dump_leaking": "seat passes a Cv of {size:.2f} when shut{growth}",
    "dump_restricted": "valve loses {share:.0f} % of its Cv{growth}",
    "dump_short_cycling": "float's gap loses {share:.0f} %{growth}",
    "dump_hunting": "float sticks over {share:.0f} % of the travel{growth}",
    "interface_setpoint_drift": "float marks move {inch:+.2f} in{growth}",
    "interface_setpoint_step": "float marks move {inch:+.2f} in{growth}",
    "oil_valve_setpoint_drift": _PRESSURE,
    "oil_valve_setpoint_step": _PRESSURE,
    "gas_valve_setpoint_drift": _PRESSURE,
    "gas_valve_setpoint_step": _PRESSURE,
    "back_pressure_margin_lost": "gas " + _PRESSURE,
    "back_pressure_hunting": "{valve} valve sticks over {size:.2f} of its spring's pull{growth}",
    "pressure_not_held": "{valve} valve stays {share:.0f} % open{growth}",
    "vessel_undersized": "wells added: retention falls below what is required",
    "water_in_oil": "chemical upset, {share:.0f} % more water in the oil{growth}",
    "liquid_in_gas": "mist extractor damaged, {size:.1f} times more liquid in the gas{growth}",
    "instrument_frozen": "reading{where} stands still",
    "instrument_drift": "reading{where} goes wrong by {size:+.3g} {unit}{growth}",
    "data_gap": "no samples{where}",
    "well_test_decline": "well {part} loses {share:.0f} % of everything it makes{growth}",
    "anode_current_lost": "lead of anode {part} breaks",
    "anode_current_jumped": "anode {part} gives {size:.1f} times as much{growth}",
    "anode_spent": "anode {part} comes down to {share:.0f} % of its usable mass by the end",
}
