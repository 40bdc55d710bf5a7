"""What a fault costs while it stands: each cost with the numbers it is reckoned from, none where they are unknown.

A cost is told only where its arithmetic holds from what was measured. Where a part of it is not known (how much of
the water goes to the oil side, how much of a rise in pressure the wells feel) the most that it can be is told, and
said to be that.
"""

import numpy as np

from nightgauge.detect.history import DAY_S, History
from nightgauge.detect.inflow import flow_hours
from nightgauge.detect.past import median
from nightgauge.physics.liquids import oil_density_kg_m3
from nightgauge.vocabulary.findings import Effect, Term

GAS_GONE = 0.9
"""Share of the usual gas rate below which gas has gone another way than by the gas valve. House choice: rates of a
week wander by less."""
_STANDARD_C = 15.56
"""60 degF, at which an oil's gravity is stated. [degC]"""
_MG_L_IN_KG_M3 = 1000.0


def water_to_the_oil(load: float) -> Effect:
    """Return the water that has no other way than the oil side while the dump is shut. [m3/day]"""
    basis = "water to the oil side: all that came in before, as if none left elsewhere"
    return Effect(
        load,
        "m3/day",
        basis,
        (Term("water coming in, median of the week before", load, "m3/day"),),
        is_upper_bound=True,
    )


def water_past_the_shut_valve(rate: float, usual: float) -> Effect:
    """Return the water that leaves by a shut valve beyond what always seemed to. [m3/day]"""
    terms = (
        Term("water leaving while the dump is shut, now", rate, "m3/day"),
        Term("the same before the leak (what the meter creeps)", usual, "m3/day"),
    )
    return Effect(rate - usual, "m3/day", "water past the shut valve: now less before", terms)


def held_too_briefly(phase: str, load: float, retention_min: float, required_min: float) -> Effect:
    """Return the load beyond what the vessel holds for the time required. [m3/day]"""
    terms = (
        Term(f"{phase} load", load, "m3/day"),
        Term(f"{phase} retention found", retention_min, "min"),
        Term(f"{phase} retention required", required_min, "min"),
    )
    basis = f"{phase} above what the vessel can hold long enough: load × (1 − found / required)"
    return Effect(load * (1.0 - retention_min / required_min), "m3/day", basis, terms)


def liquid_held_back(history: History, rise_kpa: float) -> Effect | None:
    """Return the liquid that the wells give less for a rise of back pressure. [m3/day]

    None without a productivity index. The most that it can be: a choke or a pump in between passes on less.
    """
    indices = tuple(
        Term(f"productivity index of well {well.id}", well.productivity_index_m3_per_day_per_kpa, "m3/day/kPa")
        for well in history.field.wells
        if well.vessel == history.vessel.id and well.productivity_index_m3_per_day_per_kpa is not None
    )
    if not indices:
        return None
    terms = (*indices, Term("rise of the pressure held", rise_kpa, "kPa"))
    basis = "liquid that the wells hold back: productivity indices, added up, × rise"
    return Effect(sum(one.value for one in indices) * rise_kpa, "m3/day", basis, terms, is_upper_bound=True)


def water_in_the_oil(history: History, span_s: tuple[float, float], found: float, usual: float) -> Effect | None:
    """Return the water that leaves with the oil beyond the usual; None where the stream is not metered. [m3/day]"""
    stream = median(history.hour("oil_load_m3_per_day")[history.hours_between(*span_s)])
    if not stream > 0 or not found > usual:
        return None
    terms = (
        Term("water in the oil outlet, found", found, "1"),
        Term("water in the oil outlet, usual at this load", usual, "1"),
        Term("stream through the oil outlet", stream, "m3/day"),
    )
    return Effect((found - usual) * stream, "m3/day", "water that leaves with the oil: (found − usual) × stream", terms)


def oil_in_the_water(history: History, span_s: tuple[float, float], found: float, usual: float) -> Effect | None:
    """Return the oil that leaves with the water beyond the usual. [m3/day]

    None where the water or the oil's gravity is not known; the content is a mass, what is lost is told as a volume.
    """
    load = median(history.hour("water_load_m3_per_day")[history.hours_between(*span_s)])
    gravity = history.vessel.oil_gravity_degapi
    if gravity is None or not load > 0 or not found > usual:
        return None
    density = _MG_L_IN_KG_M3 * float(oil_density_kg_m3(gravity, _STANDARD_C))
    terms = (
        Term("oil in the water outlet, found", found, "mg/L"),
        Term("oil in the water outlet, usual at this load", usual, "mg/L"),
        Term("water load", load, "m3/day"),
        Term("density of the oil", density, "mg/L"),
    )
    basis = "oil that leaves with the water: (found − usual) × water load / density"
    return Effect((found - usual) * load / density, "m3/day", basis, terms)


def gas_by_another_way(history: History, span_s: tuple[float, float]) -> Effect | None:
    """Return the gas that no longer passes the gas meter; None unless clearly less does. [m3/day]

    The most that it can be: wells may give less gas as well.
    """
    gas = flow_hours(history, "gas_rate")
    before = gas[history.hours_between(span_s[0] - 7 * DAY_S, span_s[0])]
    here = gas[history.hours_between(*span_s)]
    if not np.isfinite(before).any() or not np.isfinite(here).any():
        return None
    usual, now = float(np.nanmean(before)), float(np.nanmean(here))
    if not now < GAS_GONE * usual:
        return None
    terms = (
        Term("gas rate of the week before", usual, "m3/day"),
        Term("gas rate since", now, "m3/day"),
    )
    return Effect(
        usual - now, "m3/day", "gas that no longer passes the gas meter: before less since", terms, is_upper_bound=True
    )
