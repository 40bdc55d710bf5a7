"""What would give more: sentences with numbers, from interface to another vessel."""

import math
from collections.abc import Iterator
from datetime import datetime

import polars as pl
from scipy.optimize import brentq

from nightgauge.capacity.bigger import bigger_vessel
from nightgauge.capacity.fewer import fewer_wells
from nightgauge.capacity.limits import Limit, Reckoner
from nightgauge.capacity.outlook import reckoner_of
from nightgauge.capacity.told import NEAR_WORKING_PRESSURE
from nightgauge.field.settings import Field, Vessel
from nightgauge.physics.liquids import oil_specific_gravity
from nightgauge.physics.valve import flow_coefficient

_OPEN_AT_MOST = 0.5
"""Share of the day that a dump valve should be open at the high load, and of its Cv that a valve that follows should
use: half leaves room for slugs and for wear. Common practice, no source."""
_WORTH_MOVING = 0.05
"""Share of the use by which an evened interface has to relieve the fuller phase. House choice: less is within what a
float repeats."""


def what_would_give_more(
    vessel: Vessel, field: Field, days: pl.DataFrame, hours: pl.DataFrame, until: datetime, tests: pl.DataFrame
) -> tuple[str, ...]:
    """Return what would give the vessel more room, one sentence each; none where nothing is tight or known.

    Parameters
    ----------
    tests : WELL_TESTS
        Of the field's wells; the latest accepted test of each counts.

    """
    reckoner = reckoner_of(vessel, field, days, hours, until)
    return (
        *_interface(reckoner),
        *_trims(reckoner),
        *_gas(reckoner),
        *fewer_wells(reckoner, tests),
        *bigger_vessel(reckoner),
    )


def _interface(reckoner: Reckoner) -> Iterator[str]:
    """Say where the interface would share the vessel evenly between both liquids, and what then binds."""
    water, oil = reckoner.retention_used("water"), reckoner.retention_used("oil")
    level = _even_interface_m(reckoner)
    if water is None or oil is None or level is None:
        return
    evened = reckoner.at(interface_m=level)
    share, binding = evened.retention_used("water"), evened.used_most()
    if share is None or binding is None or max(water, oil) - share < _WORTH_MOVING:
        return
    said, now = reckoner.said, reckoner.point.interface_m or 0.0
    way = "up" if level > now else "down"
    then = "" if binding[0].name.endswith("retention") else f"; then {binding[0].name} binds, {binding[1]:.0%} used"
    short = " Both would still be too small." if share > 1.0 else ""
    yield (
        f"Interface {way} from {said(now, 'length')} to {said(level, 'length')}: water and oil would each use "
        f"{share:.0%} of their retention, instead of {water:.0%} and {oil:.0%}{then}.{short}"
    )


def _even_interface_m(reckoner: Reckoner) -> float | None:
    """Return the interface at which water and oil use the same share of their retention."""
    surface = reckoner.point.oil_level_m
    if surface is None or reckoner.retention_used("water") is None or reckoner.retention_used("oil") is None:
        return None

    def excess(level: float) -> float:
        at = reckoner.at(interface_m=level)
        wet, dry = at.retention_used("water"), at.retention_used("oil")
        return (math.inf if wet is None else wet) - (math.inf if dry is None else dry)

    low, high = (reckoner.vessel.solids_depth_m or 0.0) + 0.02 * surface, 0.98 * surface
    if not excess(low) > 0.0 > excess(high):
        return None
    return float(brentq(excess, low, high, xtol=1e-4))


def _trims(reckoner: Reckoner) -> Iterator[str]:
    """Say what trim or pressure would bring a valve to half its time or opening at the high load."""
    gravity = reckoner.vessel.oil_gravity_degapi
    drops = {
        "water dump": (reckoner.dump_drop_kpa(), reckoner.dump.cv, reckoner.water_gravity),
        "oil valve": (
            reckoner.oil_valve_drop_kpa(),
            reckoner.oil_valve.cv,
            None if gravity is None else oil_specific_gravity(gravity),
        ),
    }
    for limit in reckoner.limits():
        drop, cv, specific = drops.get(limit.name, (None, None, None))
        used, load = reckoner.used(limit), reckoner.high(limit.phase)
        if drop is None or cv is None or specific is None or used is None or load is None or used <= _OPEN_AT_MOST:
            continue
        needed = flow_coefficient(load / _OPEN_AT_MOST, drop, specific)
        is_snap = limit.name == "water dump" and reckoner.dump.action != "throttling"
        half, now = ("open half the day", f"open {used:.0%} of it") if is_snap else ("half open", f"at {used:.0%}")
        yield (
            f"A trim of Cv {math.ceil(needed)} for the {limit.name} (now {cv:g}) would be {half} at "
            f"{reckoner.said(load, 'liquid rate')} and {reckoner.said(drop, 'pressure difference')}; "
            f"now it would be {now}."
        )
        yield _by_pressure(reckoner, drop * ((used / _OPEN_AT_MOST) ** 2 - 1.0), f"the {limit.name} as it is {half}")


def _by_pressure(reckoner: Reckoner, rise_kpa: float, gained: str) -> str:
    """Say which pressure would do it, or that it would come too near to the working pressure."""
    said, held = reckoner.said, reckoner.point.pressure_kpag or 0.0
    asked, most = held + rise_kpa, reckoner.vessel.max_working_pressure_kpag
    if most is not None and asked > NEAR_WORKING_PRESSURE * most:
        return (
            f"Pressure is no way to it: {said(asked, 'pressure')} would be needed, and the working pressure is "
            f"{said(most, 'pressure')}."
        )
    known = "" if most is not None else ", if the working pressure on the nameplate allows it"
    gas_valve = reckoner.vessel.gas_valve_at(reckoner.until).holds_kpag
    with_it = "" if gas_valve is None or asked < gas_valve else ", and the gas valve has to go up with it"
    return (
        f"Pressure up from {said(held, 'pressure')} to {said(asked, 'pressure')} would have {gained}{known}; it is "
        f"{said(rise_kpa, 'pressure difference')} more back pressure on every well{with_it}."
    )


def _gas(reckoner: Reckoner) -> Iterator[str]:
    """Say which pressure would let all of the gas through."""
    gas = _limit(reckoner, "gas")
    used = reckoner.used(gas)
    held = reckoner.point.pressure_kpag
    if used is None or used <= 1.0 or held is None:
        return
    air = reckoner.field.atmospheric_pressure_kpa

    def excess(pressure: float) -> float:
        return (reckoner.used(_limit(reckoner.at(pressure_kpag=pressure), "gas")) or 0.0) - 1.0

    # Capacity goes with the root of the absolute pressure, nearly: twice the square of what is missing is enough.
    highest = 2.0 * used**2 * (held + air)
    if excess(highest) > 0.0:
        return
    rise = float(brentq(excess, held, highest, xtol=1e-2)) - held
    yield _by_pressure(reckoner, rise, "the gas within what the vessel takes")


def _limit(reckoner: Reckoner, name: str) -> Limit:
    return next(limit for limit in reckoner.limits() if limit.name == name)
