"""Faults of wells and anodes, and the anodes themselves, for fleets that are asked for them.

They have random draws of their own, so that a seed's vessels stay what they are without.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from nightgauge.field.settings import Anode
from nightgauge.physics.anodes import ANODE_MATERIALS, life_left_years
from nightgauge.simulate.anodes import anode_instrument
from nightgauge.simulate.plan import DAY_S, AnodePlan, Fault, VesselPlan

Rng = np.random.Generator

_POUND_KG = 0.45359237
_DAYS_PER_YEAR = 365.0


def with_asked(vessel: VesselPlan, kinds: Sequence[str], share: float, end: datetime, rng: Rng) -> VesselPlan:
    """Return a vessel with anodes, if a kind of theirs is asked for, and perhaps one of the faults.

    Parameters
    ----------
    vessel : VesselPlan
        As drawn without.
    kinds : sequence of str
        Of `faults.ASKED`.
    share : float
        Chance that a vessel without another fault gets one. [1]
    end : datetime
        End of the plan.
    rng : Generator
        Of the vessel, for this alone.

    """
    of_anodes = [kind for kind in kinds if kind.startswith("anode_")]
    fit = [*of_anodes, *(["well_test_decline"] if "well_test_decline" in kinds and _tested(vessel) else [])]
    kind = fit[int(rng.integers(len(fit)))] if fit and not vessel.faults and rng.random() < share else None
    if of_anodes:
        vessel = replace(vessel, anodes=_anodes(vessel, end, rng))
    if kind == "well_test_decline":
        return replace(vessel, faults=(_decline(vessel, rng),))
    if kind is None:
        return vessel
    part = vessel.anodes[0].settings.id
    if kind == "anode_spent":
        left = float(rng.uniform(0.03, 0.12))
        worn = _worn(vessel.anodes[0], left, end)
        return replace(vessel, anodes=(worn, *vessel.anodes[1:]), faults=(Fault(kind, 0.0, size=left, part=part),))
    size = 1.0 if kind == "anode_current_lost" else float(rng.uniform(2.5, 5.0))
    return replace(vessel, faults=(Fault(kind, _start_s(vessel, rng), size=size, part=part),))


def _tested(vessel: VesselPlan) -> list[str]:
    return [well.settings.id for well in vessel.wells if well.test_vessel == vessel.id]


def _start_s(vessel: VesselPlan, rng: Rng) -> float:
    """Return a time in the middle part of the plan, which is as long as the wells' last test tells."""
    last = max((turn.end_s for well in vessel.wells for turn in well.on_test), default=42 * DAY_S)
    return float(rng.uniform(0.35, 0.7)) * last


def _decline(vessel: VesselPlan, rng: Rng) -> Fault:
    wells = _tested(vessel)
    ramp = float(rng.uniform(0.0, 8.0)) * DAY_S
    return Fault(
        "well_test_decline",
        _start_s(vessel, rng),
        size=float(rng.uniform(0.3, 0.5)),
        ramp_s=ramp,
        part=wells[int(rng.integers(len(wells)))],
    )


def _anodes(vessel: VesselPlan, end: datetime, rng: Rng) -> tuple[AnodePlan, ...]:
    number = vessel.id.removeprefix("V-")
    made = []
    for place in range(int(rng.integers(1, 4))):
        bar = AnodePlan(
            Anode(f"A{place + 1}", vessel.id, "magnesium", 32.0 * _POUND_KG, f"IIT-{number}A{place + 1}"),
            current_a=float(rng.uniform(0.05, 0.3)),
            wander=float(rng.uniform(0.02, 0.08)),
            instrument=anode_instrument(number, f"A{place + 1}"),
        )
        made.append(_worn(bar, float(rng.uniform(0.4, 0.95)), end))
    return tuple(made)


def _worn(bar: AnodePlan, left: float, end: datetime) -> AnodePlan:
    """Return the anode put in so long ago that this share of its usable mass is left at the end."""
    material = ANODE_MATERIALS[bar.settings.material]
    usable_kg = (bar.settings.mass_kg or 0.0) * material.utilisation
    years = float(life_left_years(usable_kg, material.practical_capacity_ah_per_kg, bar.current_a))
    ago = timedelta(days=round((1.0 - left) * years * _DAYS_PER_YEAR))
    return replace(bar, settings=replace(bar.settings, installed_utc=end - ago))
