"""Sacrificial anodes: the currents they give, with their faults, and what the historian keeps of them.

| kind | size is |
|---|---|
| anode_current_lost | share of the current that is gone [1] |
| anode_current_jumped | current afterwards over before [1] |
| anode_spent | usable mass that is left at the plan's end [1] |

A current grows with the temperature of the water and wanders over days. Anodes have chance of their own, so that a
plan with anodes gives the same process samples as without.
"""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.simulate.curves import grown
from nightgauge.simulate.inflow import temperature_c, wander
from nightgauge.simulate.instruments import KEPT, Memory, exceptions, to_shown
from nightgauge.simulate.plan import DAY_S, AnodePlan, Fault, Instrument, Plan, VesselPlan

Array = npt.NDArray[np.float64]

_ANODE_PURPOSE = 4
_PER_DEGREE = 0.02
"""Share by which a current grows per degree. [1/degC] House choice: water conducts about 2 % better per degree."""


def measured(plan: Plan) -> Iterator[tuple[VesselPlan, AnodePlan, Instrument]]:
    """Yield the anodes whose current is measured, in order."""
    for vessel in plan.vessels:
        for anode in vessel.anodes:
            if anode.instrument is not None:
                yield vessel, anode, anode.instrument


def anode_instrument(number: str, anode: str) -> Instrument:
    """Return the transmitter on an anode's shunt; ISA-5.1 letters, I for current."""
    return Instrument(
        "anode_current", f"IIT-{number}{anode}", "mA", scan_s=600.0, noise=0.6, dead_band=3.0, resolution=0.1
    )


def anode_samples(plan: Plan, first_tag: int) -> pl.DataFrame:
    """Return what the historian keeps of the anodes' currents (KEPT), their tags numbered from `first_tag`."""
    frames = [pl.DataFrame(schema=KEPT)]
    for number, (vessel, anode, instrument) in enumerate(measured(plan)):
        seconds = np.arange(instrument.scan_s, plan.days * DAY_S + 0.5, instrument.scan_s)
        shown = _shown(current_a(plan, vessel, anode, number, seconds), instrument, plan.rng(_ANODE_PURPOSE, number))
        due = exceptions(seconds, shown[:, None], [instrument], [Memory()])[:, 0]
        kept = {"tag": first_tag + number, "second": seconds[due], "value": shown[due], "is_bad": False}
        frames.append(pl.DataFrame(kept, schema=KEPT))
    return pl.concat(frames)


def current_a(plan: Plan, vessel: VesselPlan, anode: AnodePlan, number: int, seconds: Array) -> Array:
    """Return the true current of an anode, the plan's `number`th that is measured. [A]"""
    warmer = temperature_c(plan, vessel, seconds) - vessel.physics.temperature_c
    slow = wander(anode.wander, seconds, plan.days, plan.rng(_ANODE_PURPOSE, 1000 + number))
    current = anode.current_a * (1.0 + _PER_DEGREE * warmer) * slow
    for fault in vessel.faults:
        if fault.part == anode.settings.id:
            current = current * _factor(fault, seconds)
    return np.asarray(current)


def _factor(fault: Fault, seconds: Array) -> Array:
    if fault.kind == "anode_current_lost":
        return 1.0 - fault.size * grown(fault, seconds)
    if fault.kind == "anode_current_jumped":
        return 1.0 + (fault.size - 1.0) * grown(fault, seconds)
    return np.ones_like(seconds)


def _shown(current: Array, instrument: Instrument, rng: np.random.Generator) -> Array:
    """Return the reading in its unit, with noise and resolution; a shunt's transmitter does not read below 0."""
    shown = current / to_shown(instrument, 0.0).factor + instrument.noise * rng.standard_normal(current.size)
    return np.asarray(np.round(np.maximum(np.round(shown / instrument.resolution) * instrument.resolution, 0.0), 6))
