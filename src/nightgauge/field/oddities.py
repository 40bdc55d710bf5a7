"""Settings that are possible and odd: warnings of `nightgauge check`, never refusals.

Where a warning rests on a rule of thumb it says "common practice": the rule has no published source.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from fnmatch import fnmatchcase
from itertools import combinations
from typing import TypeVar

from nightgauge.field.possible import height_m
from nightgauge.field.settings import BackPressureValve, Field, TagRow, Vessel, WaterDump
from nightgauge.field.tags import overlap
from nightgauge.vocabulary.signals import base_name

LEAST_DOWNCOMER_M = 1.2192
"""A weight-operated oil valve needs more than about 4 ft of downcomer. [m] Common practice, no source."""
INTERFACE_SHARE = (0.3, 0.7)
"""Share of the height where an interface is usual: about half, and so far to either side. House choice."""
BAFFLE_SHARE = (0.25, 0.75)
"""Share of the length where a baffle is usual: about half-way, and so far to either side. House choice."""
NEAR_WORKING_PRESSURE = 0.9
"""Within 10 % of the working pressure a vessel's pressure is of high priority (field format)."""
WATER_GRAVITY = (0.99, 1.25)
"""From fresh water when hot to brine saturated with salt, 1.2 at 60 degF. Common practice, no source."""
SEVERAL_TAGS = {"anode_current"}
"""Signals that a vessel may have several of at once: it may have several anodes."""

_PRACTICE = "(common practice, no source)"
_ROUNDING = 1e-9
_ANY_TIME = datetime(2000, 1, 1, tzinfo=UTC)  # which settings hold does not hang on it where none is dated


def warnings_of(field: Field) -> list[str]:
    """Return what is odd in a field folder that is right, one sentence each, in the order of the files."""
    found: list[str] = []
    for vessel in field.vessels:
        found += [f"vessel {vessel.id}: {warning}" for warning in _of_vessel(vessel)]
        if not field.signals_of(vessel.id):
            found.append(f"vessel {vessel.id}: no tag in tags.csv, so nothing can be judged")
    found += _of_tags(field)
    return found


def _of_vessel(vessel: Vessel) -> Iterator[str]:
    yield from _levels(vessel)
    yield from _properties(vessel)
    for since, dump in _dated(vessel.water_dump):
        yield from (f"water_dump{since}: {warning}" for warning in _dump(dump, vessel))
    for since, valve in _dated(vessel.oil_valve):
        yield from (f"oil_valve{since}: {warning}" for warning in _valve(valve, vessel))
    for since, valve in _dated(vessel.gas_valve):
        yield from (f"gas_valve{since}: {warning}" for warning in _valve(valve, vessel))
    yield from _margins(vessel)


_Control = TypeVar("_Control", WaterDump, BackPressureValve)


def _dated(settings: tuple[_Control, ...]) -> Iterator[tuple[str, _Control]]:
    for setting in settings:
        yield "" if setting.valid_from is None else f" from {setting.valid_from:%Y-%m-%d %H:%M} UTC", setting


def _levels(vessel: Vessel) -> Iterator[str]:
    height, interface, oil_level = height_m(vessel), vessel.normal_interface_m, vessel.normal_oil_level_m
    if height is not None and interface is not None:
        share = interface / height
        if not INTERFACE_SHARE[0] <= share <= INTERFACE_SHARE[1]:
            yield f"normal_interface at {share:.0%} of the height is far from half {_PRACTICE}"
    solids = vessel.solids_depth_m
    if solids is not None and interface is not None and solids >= interface:
        yield "solids_depth reaches the interface: there would be no water volume"
    if interface is not None and oil_level is None:
        yield "normal_oil_level is missing, so oil retention and spills over the weir cannot be judged"


def _properties(vessel: Vessel) -> Iterator[str]:
    baffle, length = vessel.baffle_at_m, vessel.length_m
    if baffle is not None and length is not None and not BAFFLE_SHARE[0] <= baffle / length <= BAFFLE_SHARE[1]:
        yield f"baffle_at at {baffle / length:.0%} of the length is far from half-way {_PRACTICE}"
    gravity = vessel.water_specific_gravity
    if gravity is not None and not WATER_GRAVITY[0] <= gravity <= WATER_GRAVITY[1]:
        yield f"water_specific_gravity of {gravity:g} is unusual {_PRACTICE}"


def _dump(dump: WaterDump, vessel: Vessel) -> Iterator[str]:
    trips = dump.opens_at_m is not None or dump.closes_at_m is not None
    holds = dump.holds_m is not None or dump.band_m is not None
    if trips and holds:
        yield "opens_at and closes_at are for snap action, holds and band for throttling; it has both"
    if dump.action == "snap" and holds and not trips:
        yield "action is snap, but holds and band are for throttling"
    if dump.action == "throttling" and trips and not holds:
        yield "action is throttling, but opens_at and closes_at are for snap action"
    if dump.action is None and (trips or holds):
        yield "action is missing: snap or throttling"
    yield from _dump_against_levels(dump, vessel)
    yield from _dump_outlet(dump, vessel)


def _dump_outlet(dump: WaterDump, vessel: Vessel) -> Iterator[str]:
    height = height_m(vessel)
    if height is not None and dump.elevation_m is not None and dump.elevation_m > height:
        yield "elevation of the outlet lies above the vessel"
    oil_valve = vessel.oil_valve_at(dump.valid_from or _ANY_TIME)
    held, after = oil_valve.holds_kpag, dump.downstream_pressure_kpag
    if held is not None and after is not None and after >= held:
        yield "downstream_pressure is not below the pressure that oil_valve holds: only its head drives the water"


def _dump_against_levels(dump: WaterDump, vessel: Vessel) -> Iterator[str]:
    surface = vessel.normal_oil_level_m if vessel.is_two_phase else vessel.normal_interface_m
    name = "normal_oil_level" if vessel.is_two_phase else "normal_interface"
    opens, closes = dump.opens_at_m, dump.closes_at_m
    if surface is not None and opens is not None and surface > opens + _ROUNDING:
        yield f"{name} lies above opens_at"
    if surface is not None and closes is not None and surface < closes - _ROUNDING:
        yield f"{name} lies below closes_at"
    weir = None if vessel.is_two_phase else vessel.normal_oil_level_m
    for key, level in (("opens_at", opens), ("holds", dump.holds_m)):
        if weir is not None and level is not None and level >= weir:
            yield f"{key} is not below normal_oil_level: water would leave with the oil first"
    if closes is not None and vessel.solids_depth_m is not None and closes <= vessel.solids_depth_m:
        yield "closes_at lies within the solids"


def _valve(valve: BackPressureValve, vessel: Vessel) -> Iterator[str]:
    limit = vessel.max_working_pressure_kpag
    if valve.holds_kpag is not None and limit is not None:
        if valve.holds_kpag >= limit:
            yield "holds is at or above max_working_pressure; check both against the nameplate and the site's papers"
        elif valve.holds_kpag > NEAR_WORKING_PRESSURE * limit:
            yield "holds is within 10 % of max_working_pressure"
    if valve.kind == "weight" and valve.downcomer_m is not None and valve.downcomer_m < LEAST_DOWNCOMER_M - _ROUNDING:
        yield f"a weight-operated valve needs more than about 4 ft of downcomer {_PRACTICE}"


def _margins(vessel: Vessel) -> Iterator[str]:
    """Yield the times at which the gas valve is not set above the oil valve."""
    dates = {s.valid_from for s in (*vessel.oil_valve, *vessel.gas_valve) if s.valid_from is not None}
    for when in sorted(dates) or [_ANY_TIME]:
        oil, gas = vessel.oil_valve_at(when).holds_kpag, vessel.gas_valve_at(when).holds_kpag
        if oil is not None and gas is not None and gas <= oil:
            yield (
                "gas_valve holds no more than oil_valve: gas leaves first, and liquid after it; "
                f"it is set a few psi higher as a rule {_PRACTICE}"
            )
            return


def _of_tags(field: Field) -> Iterator[str]:
    if not field.tags:
        yield "tags.csv has no rows, so nothing can be judged"
    yield from _mixed(field.tags)
    for row in field.tags:
        pattern = next((p for p in field.ignore if fnmatchcase(row.tag, p)), None)
        if pattern is not None:
            yield f"vessel {row.vessel}: {row.tag} is in tags.csv and also under ignore ({pattern})"
        if row.unit.strip() in ("%", "percent", "pct") and row.signal.endswith("_level") and row.conversion.factor < 0:
            yield f"vessel {row.vessel}: {row.tag} falls as the level rises: span lies below zero, or scale is negative"


def _mixed(tags: tuple[TagRow, ...]) -> Iterator[str]:
    by_signal: dict[tuple[str, str], list[TagRow]] = {}
    for row in tags:
        if base_name(row.signal) not in SEVERAL_TAGS:
            by_signal.setdefault((row.vessel, row.signal), []).append(row)
    for (vessel, signal), rows in by_signal.items():
        for one, other in combinations(rows, 2):
            if one.tag != other.tag and overlap(one, other):
                yield (
                    f"vessel {vessel}: {one.tag} and {other.tag} are both {signal} at the same time and their samples "
                    "are mixed; date the rows with from and to, or take one out"
                )
