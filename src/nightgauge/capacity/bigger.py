"""What size of vessel would take the loads that this one is too small for."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from nightgauge.capacity.limits import Reckoner
from nightgauge.physics.geometry import Shell
from nightgauge.physics.settling import largest_pad_m
from nightgauge.physics.sizing import (
    SHOP_DIAMETERS_M,
    Size,
    held_volume_m3,
    largest_diameter_m,
    least_diameter_m,
    pad_share,
    sizes,
)
from nightgauge.units import conversion

_LENGTH_STEP_M = 2.5 * 0.3048
"""Vessels come in lengths of whole steps of 2.5 ft. Common practice, no source."""
_MOST_SIZES = 3
"""House choice: the narrowest, which cost least, and no catalogue."""


@dataclass(frozen=True)
class _Liquid:
    """One liquid as it is to be held. [m3/day, min, m/s]"""

    rate: float
    required: float
    velocity: float | None

    @property
    def volume_m3(self) -> float:
        return held_volume_m3(self.rate, self.required)


def bigger_vessel(reckoner: Reckoner) -> Iterator[str]:
    """Say what sizes would hold the liquids long enough, let their drops settle and pass the gas.

    Nothing where the vessel itself is large enough for its liquids.
    """
    orientation = reckoner.vessel.orientation
    own = [limit for limit in reckoner.limits() if limit.name.endswith((" retention", " settling"))]
    if orientation is None or all((reckoner.used(limit) or 0.0) <= 1.0 for limit in own):
        return
    liquids = {phase: _liquid(reckoner, phase) for phase in ("water", "oil")}
    water, oil = liquids["water"], liquids["oil"]
    if water is None and oil is None:
        return
    held = sum(liquid.volume_m3 for liquid in (water, oil) if liquid is not None)
    fitting = _worth_telling(
        size
        for size in sizes(held, orientation)
        if size.is_common and _lets_settle(size, water, oil) and _passes_gas(reckoner, size)
    )
    unknown = [phase for phase, liquid in liquids.items() if liquid is None]
    if reckoner.high("gas") is None or _gas_of(reckoner, sizes(held, orientation)[0]) is None:
        unknown.append("gas")
    told = ", ".join(_said(reckoner, size) for size in fitting)
    left_out = f" Not known and left out: {' and '.join(unknown)}." if unknown else ""
    half = "half full of liquid" if orientation == "horizontal" else "with room for gas above the liquid"
    if fitting:
        yield f"A {orientation} vessel that would do, {half}: {told} (inside diameter by seam to seam).{left_out}"
    else:
        widest = _across(reckoner, SHOP_DIAMETERS_M[-1])
        yield f"No {orientation} vessel of common size, up to {widest}, would do by itself.{left_out}"


def _liquid(reckoner: Reckoner, phase: str) -> _Liquid | None:
    rate, required, drops = reckoner.high(phase), reckoner.required_min(phase), reckoner.drops(phase)
    if rate is None or required is None or (phase == "oil" and reckoner.vessel.is_two_phase):
        return None
    return _Liquid(rate, required, None if drops is None else drops.velocity_m_per_s)


def _lets_settle(size: Size, water: _Liquid | None, oil: _Liquid | None) -> bool:
    """Return whether drops have time to leave both liquids, as far as that is known."""
    if water is None or oil is None or water.velocity is None or oil.velocity is None:
        return True
    if min(water.volume_m3, oil.volume_m3) <= 0.0:
        return True
    if size.orientation == "vertical":
        of_water, of_oil = (
            least_diameter_m(water.rate, water.velocity),
            least_diameter_m(oil.rate, oil.velocity),
        )
        return size.inside_diameter_m >= max(of_water, of_oil)
    pad = largest_pad_m(oil.required, oil.velocity)
    water_depth = (0.5 - pad_share(water.volume_m3, oil.volume_m3)) * size.inside_diameter_m
    return size.inside_diameter_m <= largest_diameter_m(
        pad, water.volume_m3, oil.volume_m3
    ) and water_depth <= largest_pad_m(water.required, water.velocity)


def _gas_of(reckoner: Reckoner, size: Size) -> float | None:
    """Return the gas rate a size takes. [m3/day]"""
    heads = reckoner.vessel.heads or "2:1 ellipsoidal"  # they take no part in the area that gas flows through
    inside = Shell(size.inside_diameter_m, size.length_m, heads, size.orientation)
    return reckoner.gas_rate_m3_per_day(inside, size.inside_diameter_m / 2.0)


def _passes_gas(reckoner: Reckoner, size: Size) -> bool:
    gas, rate = reckoner.high("gas"), _gas_of(reckoner, size)
    return gas is None or rate is None or rate >= gas


def _worth_telling(fitting: Iterable[Size]) -> list[Size]:
    """Return the narrowest sizes, in lengths as they are made; a wider one only where it is shorter."""
    told: list[Size] = []
    for size in fitting:
        made = replace(size, length_m=math.ceil(size.length_m / _LENGTH_STEP_M - 1e-6) * _LENGTH_STEP_M)
        if not told or made.length_m < told[-1].length_m - 0.5 * _LENGTH_STEP_M:
            told.append(made)
    return told[:_MOST_SIZES]


def _said(reckoner: Reckoner, size: Size) -> str:
    """Return a size as the trade writes it."""
    across = _across(reckoner, size.inside_diameter_m)
    if reckoner.field.display_units == "oilfield":
        return f"{across} by {conversion('ft', 'length').invert(size.length_m):.4g} ft"
    return f"{across} by {reckoner.said(size.length_m, 'length')}"


def _across(reckoner: Reckoner, diameter_m: float) -> str:
    return reckoner.said(diameter_m, "length").replace(".0 ", " ")  # shops roll whole inches
