"""field.toml and tags.csv of a plan, as people would write them."""

from collections.abc import Iterable
from datetime import datetime

from nightgauge.field.settings import Anode, BackPressureValve, Heating, Prices, Vessel, WaterDump
from nightgauge.simulate.anodes import measured
from nightgauge.simulate.plan import Instrument, Plan, WellPlan
from nightgauge.units import conversion
from nightgauge.vocabulary.signals import SIGNALS

_DIGITS = {"in": 2, "ft": 2, "psig": 2, "psi": 2, "degF": 1, "degAPI": 1, "min": 1, "bbl/day/psi": 2, "lb": 1}
_SHORTEST_GAP_S = 3600.0
"""A historian whose longest interval comes near an hour needs `max_gap`, else every quiet hour is unknown."""


def field_toml(plan: Plan) -> str:
    """Return the text of field.toml."""
    until = plan.end.astimezone(plan.zone).strftime("%Y-%m-%dT%H:%M")
    lines = [
        f"# {line}" for line in plan.note.splitlines()
    ] + [
        f'name = "{plan.name}"',
        f'time_zone = "{plan.time_zone}"',
        'display_units = "oilfield"',
        f'atmospheric_pressure = "{_number(plan.atmosphere_kpa, "psi", "pressure difference")}"',
        'tags = "tags.csv"',
        'streams = ["streams/**/*.csv*", "streams/**/*.parquet"]',
        f'as_of = "{until}"',
    ]  # fmt: skip
    for vessel in plan.vessels:
        lines += ["", *_vessel(vessel.settings)]
    for vessel in plan.vessels:
        for well in vessel.wells:
            lines += ["", *_well(well)]
    for anode in (one.settings for vessel in plan.vessels for one in vessel.anodes):
        lines += ["", *_anode(plan, anode)]
    lines += _prices(plan.prices) if plan.prices else []
    for outage in plan.outages:
        lines += [
            "",
            "[[outage]]",
            f'vessel = "{outage.vessel}"',
            f'from = "{_local(plan, outage.from_utc)}"',
            f'to = "{_local(plan, outage.to_utc)}"',
            f'note = "{outage.note or ""}"',
        ]
    return "\n".join(lines) + "\n"


def tags_csv(plan: Plan) -> str:
    """Return the text of tags.csv."""
    rows = ["tag,vessel,signal,unit,states,max_gap"]
    for vessel in plan.vessels:
        rows += [_tag(vessel.id, instrument) for instrument in vessel.instruments]
    rows += [_tag(vessel.id, instrument) for vessel, _, instrument in measured(plan)]
    return "\n".join(rows) + "\n"


def _tag(vessel: str, instrument: Instrument) -> str:
    states = f"{instrument.states[1]}=1;{instrument.states[0]}=0" if instrument.states else ""
    signal = SIGNALS[instrument.signal]
    needs_gap = signal.hold == "line" and 2.0 * instrument.max_interval_s > _SHORTEST_GAP_S
    gap = f"{2.0 * instrument.max_interval_s / 3600.0:g} h" if needs_gap else ""
    return f"{instrument.tag},{vessel},{instrument.signal},{instrument.unit},{states},{gap}"


def _local(plan: Plan, when: datetime) -> str:
    return when.astimezone(plan.zone).strftime("%Y-%m-%dT%H:%M")


def _number(si: float, unit: str, dimension: str) -> str:
    value = conversion(unit, dimension).invert(si)
    text = f"{value:.{_DIGITS[unit]}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}"


def _quantities(pairs: Iterable[tuple[str, float | None, str, str]]) -> list[str]:
    return [f'{key} = "{_number(si, unit, dim)}"' for key, si, unit, dim in pairs if si is not None]


def _vessel(v: Vessel) -> list[str]:
    lines = ["[[vessel]]", f'id = "{v.id}"']
    lines += [f'name = "{v.name}"'] if v.name else []
    lines += [f'service = "{v.service}"']
    lines += [f'orientation = "{v.orientation}"'] if v.orientation else []
    lines += _quantities([
        ("inside_diameter", v.inside_diameter_m, "ft", "length"),
        ("length", v.length_m, "ft", "length"),
    ])  # fmt: skip
    lines += [f'heads = "{v.heads}"'] if v.heads else []
    lines += _quantities([
        ("normal_interface", v.normal_interface_m, "in", "length"),
        ("normal_oil_level", v.normal_oil_level_m, "in", "length"),
        ("max_working_pressure", v.max_working_pressure_kpag, "psig", "pressure"),
        ("baffle_at", v.baffle_at_m, "ft", "length"),
        ("settling_length", v.settling_length_m, "ft", "length"),
        ("solids_depth", v.solids_depth_m, "in", "length"),
        ("oil_gravity", v.oil_gravity_degapi, "degAPI", "gravity"),
        ("temperature", v.temperature_c, "degF", "temperature"),
    ])  # fmt: skip
    lines += [] if v.mist_extractor is None else [f"mist_extractor = {str(v.mist_extractor).lower()}"]
    lines += [] if v.water_specific_gravity is None else [f"water_specific_gravity = {v.water_specific_gravity:g}"]
    lines += [] if v.gas_specific_gravity is None else [f"gas_specific_gravity = {v.gas_specific_gravity:g}"]
    required = [
        f'{phase} = "{minutes:g} min"'
        for phase, minutes in (("water", v.required_water_retention_min), ("oil", v.required_oil_retention_min))
        if minutes is not None
    ]
    lines += [f"required_retention = {{ {', '.join(required)} }}"] if required else []
    for dump in v.water_dump:
        lines += _water_dump(dump)
    for name, valves in (("oil_valve", v.oil_valve), ("gas_valve", v.gas_valve)):
        for valve in valves:
            lines += _spring(name, valve)
    return lines + (_heating(v.heating) if v.heating else [])


def _heating(heating: Heating) -> list[str]:
    to = _number(heating.to_c, "degF", "temperature")
    return ["[vessel.heating]", f'to = "{to}"', f'efficiency = "{heating.efficiency:.0%}"']


def _anode(plan: Plan, anode: Anode) -> list[str]:
    lines = ["[[anode]]", f'id = "{anode.id}"', f'vessel = "{anode.vessel}"', f'material = "{anode.material}"']
    lines += _quantities([("mass", anode.mass_kg, "lb", "mass")])
    lines += [f'tag = "{anode.tag}"'] if anode.tag else []
    return lines + ([] if anode.installed_utc is None else [f'installed = "{_local(plan, anode.installed_utc)}"'])


def _prices(prices: Prices) -> list[str]:
    told = (
        ("oil", prices.oil_per_m3, "bbl", "volume"),
        ("fuel", prices.fuel_per_mj, "MMBtu", "energy"),
    )
    return ["", "[prices]", f'currency = "{prices.currency}"'] + [
        f'{key} = "{price * conversion(unit, dimension).factor:.4g} {prices.currency}/{unit}"'
        for key, price, unit, dimension in told
        if price is not None
    ]


def _water_dump(dump: WaterDump) -> list[str]:
    lines = ["[vessel.water_dump]"]
    lines += [f'action = "{dump.action}"'] if dump.action else []
    lines += _quantities([
        ("opens_at", dump.opens_at_m, "in", "length"),
        ("closes_at", dump.closes_at_m, "in", "length"),
        ("holds", dump.holds_m, "in", "length"),
        ("band", dump.band_m, "in", "length"),
        ("downstream_pressure", dump.downstream_pressure_kpag, "psig", "pressure"),
        ("elevation", dump.elevation_m, "in", "length"),
    ])  # fmt: skip
    return lines + ([] if dump.cv is None else [f"cv = {dump.cv:g}"])


def _spring(name: str, valve: BackPressureValve) -> list[str]:
    lines = [f"[vessel.{name}]"]
    lines += _quantities([
        ("holds", valve.holds_kpag, "psig", "pressure"),
        ("needs", valve.needs_kpag, "psig", "pressure"),
    ])  # fmt: skip
    lines += [f'kind = "{valve.kind}"'] if valve.kind else []
    return lines + _quantities([("downcomer", valve.downcomer_m, "ft", "length")])


def _well(well: WellPlan) -> list[str]:
    s = well.settings
    lines = ["[[well]]", f'id = "{s.id}"']
    lines += [f'vessel = "{s.vessel}"'] if s.vessel else []
    lines += [f'lift = "{s.lift}"'] if s.lift else []
    index = s.productivity_index_m3_per_day_per_kpa
    return lines + _quantities([("productivity_index", index, "bbl/day/psi", "productivity index")])
