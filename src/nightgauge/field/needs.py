"""What can be judged on a vessel, kind by kind, and what is missing and would allow more.

The signals that each kind needs are declared with the kinds (`vocabulary.kinds`); the settings that some
need besides are declared here.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from nightgauge.field.settings import BackPressureValve, Vessel, WaterDump
from nightgauge.vocabulary.kinds import KINDS, Kind
from nightgauge.vocabulary.signals import base_name


@dataclass(frozen=True)
class Missing:
    """A key or signal that is not there, and what it would allow."""

    key: str
    """A key of the vessel in field.toml, or "tag for ..." with the signals."""
    would_allow: str


@dataclass(frozen=True)
class Judgeable:
    """Whether a kind can be judged on a vessel, and by what, or why not."""

    can: bool
    why: str


def judgeable(vessel: Vessel, signals: Iterable[str]) -> dict[str, Judgeable]:
    """Return for every kind whether this vessel's signals and settings are enough to judge it.

    Parameters
    ----------
    vessel : Vessel
        With its settings.
    signals : iterable of str
        The signals it has; give those with data alone to ask what can be judged by the data.

    """
    have = frozenset(map(base_name, signals))
    return {name: _judge(kind, vessel, have) for name, kind in KINDS.items()}


def missing_of(vessel: Vessel, signals: Iterable[str]) -> list[Missing]:
    """Return what this vessel lacks and what each would allow: settings in the order of field.toml, then signals."""
    have = frozenset(map(base_name, signals))
    settings = [Missing(s.key, s.would_allow) for s in _SETTINGS if s.is_missing(vessel, have)]
    by_signals: dict[str, list[str]] = {}
    for name, kind in KINDS.items():
        lacks = _lacking_signals(kind, vessel, have)
        if lacks and _why_not_meant_for(name, vessel) is None:
            by_signals.setdefault(lacks, []).append(name)
    return settings + [
        Missing(f"tag for {lacks}", f"judging {', '.join(kinds)}") for lacks, kinds in by_signals.items()
    ]


def _judge(kind: Kind, vessel: Vessel, have: frozenset[str]) -> Judgeable:
    not_meant = _why_not_meant_for(kind.name, vessel)
    if not_meant is not None:
        return Judgeable(can=False, why=not_meant)
    lacks = _lacking_signals(kind, vessel, have)
    if lacks:
        return Judgeable(can=False, why=f"no tag for {lacks}")
    settings = [s.key for s in _SETTINGS if kind.name in s.needed_for and s.is_missing(vessel, have)]
    if settings:
        return Judgeable(can=False, why=f"field.toml lacks {'; '.join(settings)}")
    used = min((need for need in _needs(kind, vessel) if need <= have), key=len, default=frozenset())
    return Judgeable(can=True, why=f"by {', '.join(sorted(used))}" if used else "needs no signal of its own")


def _needs(kind: Kind, vessel: Vessel) -> tuple[frozenset[str], ...]:
    if not vessel.is_two_phase:
        return kind.needs
    float_level = {"interface_level": "oil_level"}
    return tuple(frozenset(float_level.get(name, name) for name in need) for need in kind.needs)


def _lacking_signals(kind: Kind, vessel: Vessel, have: frozenset[str]) -> str:
    """Return the fewest signals that would be enough, alternatives joined by "or"; empty if there are enough."""
    lacking = [need - have for need in _needs(kind, vessel)]
    if not lacking or frozenset() in lacking:
        return ""
    fewest = min(len(lack) for lack in lacking)
    alternatives = [lack for lack in lacking if len(lack) == fewest]
    in_all = frozenset[str].intersection(*alternatives)
    rest = dict.fromkeys(" and ".join(sorted(lack - in_all)) for lack in alternatives)
    return " and ".join([*sorted(in_all), *filter(None, [" or ".join(rest)])])


_TRIPPING = frozenset({"float_sticking", "dump_short_cycling"})
"""Kinds told from the trips of a snap-acting dump."""
_THROTTLING = frozenset({"dump_hunting"})
_OF_TESTS = frozenset({"well_test_decline"})


def _why_not_meant_for(kind: str, vessel: Vessel) -> str | None:
    action = vessel.water_dump[-1].action if vessel.water_dump else None
    if kind in _TRIPPING and action == "throttling":
        return "the water dump throttles: it has no trips"
    if kind in _THROTTLING and action == "snap":
        return "the water dump is snap-acting: it does not throttle"
    if kind in _OF_TESTS and vessel.service != "test vessel":
        return "no test vessel: its wells are not tested one by one"
    return None


@dataclass(frozen=True)
class _Setting:
    """A key of the vessel: how to see that it is missing, what it would allow, which kinds cannot do without."""

    key: str
    is_missing: Callable[[Vessel, frozenset[str]], bool]
    would_allow: str
    needed_for: frozenset[str] = frozenset()


def _unset(attribute: str) -> Callable[[Vessel, frozenset[str]], bool]:
    return lambda vessel, _: getattr(vessel, attribute) is None


def _dump_unset(attribute: str, signal: str = "", action: str = "") -> Callable[[Vessel, frozenset[str]], bool]:
    def is_missing(vessel: Vessel, have: frozenset[str]) -> bool:
        dump = vessel.water_dump[-1] if vessel.water_dump else WaterDump()
        if signal in have or (action and dump.action not in (action, None)):
            return False
        return getattr(dump, attribute) is None

    return is_missing


def _valve_unset(valve: str) -> Callable[[Vessel, frozenset[str]], bool]:
    def is_missing(vessel: Vessel, _: frozenset[str]) -> bool:
        settings: tuple[BackPressureValve, ...] = getattr(vessel, valve)
        return not settings or settings[-1].holds_kpag is None

    return is_missing


_LIGHT_OIL_DEGAPI = 35.0
"""Oil above this has one row for all temperatures in the table of required retention (API Spec 12J, three-phase)."""


def _lacks_requirement(vessel: Vessel, have: frozenset[str]) -> bool:
    """Return whether neither a bottle test nor what the published table is entered with gives a required retention."""
    if vessel.required_water_retention_min is not None or vessel.required_oil_retention_min is not None:
        return False
    gravity = vessel.oil_gravity_degapi
    return gravity is None or (gravity <= _LIGHT_OIL_DEGAPI and _lacks_temperature(vessel, have))


def _lacks_temperature(vessel: Vessel, have: frozenset[str]) -> bool:
    return vessel.temperature_c is None and "temperature" not in have


def _lacks_interface(vessel: Vessel, _: frozenset[str]) -> bool:
    return vessel.normal_interface_m is None and not vessel.is_two_phase


def _lacks_need(vessel: Vessel, have: frozenset[str]) -> bool:
    """Return whether a pressure is measured and held, and nothing says how much of it is needed."""
    return "vessel_pressure" in have and bool(vessel.oil_valve) and vessel.oil_valve[-1].needs_kpag is None


_METERED_OIL = frozenset({"oil_rate", "oil_total"})


def _lacks_heating(vessel: Vessel, have: frozenset[str]) -> bool:
    """Return whether water in the oil is known as a volume, and nothing says where it is heated."""
    return vessel.heating is None and "oil_water_cut" in have and bool(have & _METERED_OIL)


_SIZE = frozenset({"vessel_undersized"})
_VOLUMES = "volumes from levels, retention, judging vessel_undersized"

_SETTINGS = (
    _Setting("orientation", _unset("orientation"), _VOLUMES, _SIZE),
    _Setting("inside_diameter", _unset("inside_diameter_m"), _VOLUMES, _SIZE),
    _Setting("length", _unset("length_m"), _VOLUMES, _SIZE),
    _Setting("heads", _unset("heads"), _VOLUMES, _SIZE),
    _Setting(
        "normal_interface",
        _lacks_interface,
        "levels to compare with while the vessel has no past; retention without a level signal",
    ),
    _Setting("normal_oil_level", _unset("normal_oil_level_m"), "oil retention, gas space, spills over the oil weir"),
    _Setting(
        "max_working_pressure",
        _unset("max_working_pressure_kpag"),
        "judging pressure_near_limit, priority of high pressures",
        frozenset({"pressure_near_limit"}),
    ),
    _Setting(
        "mist_extractor", _unset("mist_extractor"), "gas capacity with the factor that fits; without it the lower one"
    ),
    _Setting("solids_depth", _unset("solids_depth_m"), "retention as it is; without it retention is an upper bound"),
    _Setting(
        "required_retention, or oil_gravity and temperature",
        _lacks_requirement,
        "a required retention, from the bottle test or the published table; judging vessel_undersized",
        _SIZE,
    ),
    _Setting("oil_gravity", _unset("oil_gravity_degapi"), "oil density; required retention from the published table"),
    _Setting("water_specific_gravity", _unset("water_specific_gravity"), "liquid head over the outlet, effective Cv"),
    _Setting("gas_specific_gravity", _unset("gas_specific_gravity"), "gas capacity"),
    _Setting("temperature", _lacks_temperature, "required retention from the published table, densities"),
    _Setting("water_dump.action", _dump_unset("action"), "knowing whether the dump has trips or a swing to judge"),
    _Setting("water_dump.opens_at", _dump_unset("opens_at_m", action="snap"), "judging trips without a past"),
    _Setting("water_dump.closes_at", _dump_unset("closes_at_m", action="snap"), "judging trips without a past"),
    _Setting("water_dump.holds", _dump_unset("holds_m", action="throttling"), "the held level while there is no past"),
    _Setting("water_dump.cv", _dump_unset("cv"), "valve capacity against the load; effective Cv beside the rated one"),
    _Setting(
        "water_dump.downstream_pressure",
        _dump_unset("downstream_pressure_kpag", signal="water_downstream_pressure"),
        "effective Cv, so that a restricted dump is told from a change of pressure",
    ),
    _Setting("oil_valve.holds", _valve_unset("oil_valve"), "judging the held pressure while the vessel has no past"),
    _Setting(
        "oil_valve.needs", _lacks_need, "what each psi held above need costs; without it what is held above the setting"
    ),
    _Setting("heating", _lacks_heating, "heat and fuel that water left in the oil takes in the heater that follows"),
    _Setting("gas_valve.holds", _valve_unset("gas_valve"), "judging the margin over the oil valve without a past"),
)
