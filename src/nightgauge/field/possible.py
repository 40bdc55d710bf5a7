"""Values that are each fine and impossible together: a level above the vessel, a dump that shuts where it opens."""

from nightgauge.field.problems import Scope
from nightgauge.field.settings import Vessel, WaterDump
from nightgauge.physics.geometry import Shell


def height_m(vessel: Vessel) -> float | None:
    """Return the inside height, or None where it is not known; upright without heads: the most it can be. [m]"""
    if vessel.orientation is None or vessel.inside_diameter_m is None:
        return None
    if vessel.orientation == "horizontal":
        return vessel.inside_diameter_m
    if vessel.length_m is None:
        return None
    return Shell(vessel.inside_diameter_m, vessel.length_m, vessel.heads or "hemispherical", "vertical").height_m


def find_impossible(vessel: Vessel, scope: Scope) -> None:
    """Note every setting of a vessel that contradicts another one."""
    _levels(vessel, scope)
    _lengths(vessel, scope)
    for number, dump in enumerate(vessel.water_dump, start=1):
        inner = scope.inside("water_dump" if len(vessel.water_dump) == 1 else f"water_dump {number}")
        _dump(dump, height_m(vessel), inner)


def _levels(vessel: Vessel, scope: Scope) -> None:
    height = height_m(vessel)
    _below_top("normal_interface", vessel.normal_interface_m, height, scope)
    _below_top("normal_oil_level", vessel.normal_oil_level_m, height, scope)
    _below_top("solids_depth", vessel.solids_depth_m, height, scope)
    interface, oil_level = vessel.normal_interface_m, vessel.normal_oil_level_m
    if interface is not None and oil_level is not None and interface >= oil_level:
        scope.add(
            "normal_interface",
            f"{interface:.4g} m, which is not below normal_oil_level of {oil_level:.4g} m",
            "an interface below the oil level",
            "correct one of the two; in a two-phase vessel leave normal_interface out",
        )


def _lengths(vessel: Vessel, scope: Scope) -> None:
    if vessel.length_m is None:
        return
    for key, value in (("baffle_at", vessel.baffle_at_m), ("settling_length", vessel.settling_length_m)):
        if value is not None and value > vessel.length_m * _ROUNDING:
            scope.add(
                key,
                f"{value:.4g} m, which is more than the length of {vessel.length_m:.4g} m",
                "at most the length from seam to seam",
                f"correct {key} or length",
            )


_ROUNDING = 1.0 + 1e-9  # the same length in feet and in metres differs in the last digits


def _dump(dump: WaterDump, height: float | None, scope: Scope) -> None:
    for key, value in (("opens_at", dump.opens_at_m), ("closes_at", dump.closes_at_m), ("holds", dump.holds_m)):
        _below_top(key, value, height, scope)
    if height is not None and dump.band_m is not None and dump.band_m > height * _ROUNDING:
        scope.add(
            "band",
            f"{dump.band_m:.4g} m, which is more than the vessel's inside height of {height:.4g} m",
            "the rise of the interface from shut to full open",
            "correct band",
        )
    if dump.opens_at_m is not None and dump.closes_at_m is not None and dump.closes_at_m >= dump.opens_at_m:
        scope.add(
            "closes_at",
            f"{dump.closes_at_m:.4g} m, which is not below opens_at of {dump.opens_at_m:.4g} m",
            "a closing level below the opening level",
            "correct one of the two; they may be swapped",
        )


def _below_top(key: str, value: float | None, height: float | None, scope: Scope) -> None:
    if value is not None and height is not None and value > height * _ROUNDING:
        scope.add(
            key,
            f"{value:.4g} m, which is above the vessel's top at {height:.4g} m",
            "a height above the lowest inside point, within the vessel",
            f"correct {key} or the vessel's dimensions",
        )
