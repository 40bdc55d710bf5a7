"""field.toml as drafted: what the data tell, and clearly marked blanks for what only a drawing or a person can."""

from collections.abc import Sequence
from dataclasses import dataclass

from nightgauge.adopt.draft import Draft, DraftVessel
from nightgauge.units import conversion
from nightgauge.vocabulary.signals import SIGNALS

_BLANKS = (
    ("orientation", '"horizontal"', 'or "vertical"'),
    ("inside_diameter", '"? ft"', "drawing; 3 to 12 ft"),
    ("length", '"? ft"', "drawing, seam to seam; 8 to 60 ft"),
    ("heads", '"2:1 ellipsoidal"', 'drawing; or "hemispherical", "torispherical", "flat"'),
    ("max_working_pressure", '"? psig"', "name plate; 50 to 250 psig"),
    ("mist_extractor", "false", "drawing"),
    ("solids_depth", '"? in"', "last inspection; 0 to 12 in"),
    ("oil_gravity", '"? degAPI"', "laboratory; 12 to 45 degAPI"),
    ("water_specific_gravity", "1.05", "laboratory; 1.00 to 1.20"),
    ("gas_specific_gravity", "0.75", "laboratory; 0.6 to 1.2"),
    ("required_retention", '{ water = "? min", oil = "? min" }', "bottle test; 3 to 30 min"),
)  # fmt: skip
"""Keys that no export tells, a form to fill in, where to find it, what is usual. Ranges: common practice, no source.

With those below they are what `nightgauge check` lists as missing (a test compares the two): nothing else is blank."""


@dataclass(frozen=True)
class Header:
    """What stands before the vessels."""

    name: str
    time_zone: str
    is_zone_known: bool
    streams: tuple[str, ...]
    ignore: tuple[str, ...] = ()


def toml_text(header: Header, draft: Draft) -> str:
    """Return the text of field.toml."""
    lines = [*_header(header)]
    for vessel in draft.vessels:
        lines += ["", *_vessel(vessel)]
    wells = dict.fromkeys(well for vessel in draft.vessels for well in vessel.wells)
    for well in wells:
        lines += ["", "[[well]]", f"id = {quoted(well)}", '# vessel = "?"    # where its production normally goes']
    return "\n".join(lines) + "\n"


def _header(header: Header) -> list[str]:
    zone = "" if header.is_zone_known else "    # not told: the zone of stamps without an offset, and of days and weeks"
    return [
        "# Drafted from exports. Lines that begin with # and a key are blanks: fill them in and take the # away.",
        f"name = {quoted(header.name)}",
        f"time_zone = {quoted(header.time_zone)}{zone}",
        '# atmospheric_pressure = "? psi"    # by the elevation; 10.5 to 14.7 psi',
        'tags = "tags.csv"',
        f"streams = [{', '.join(map(quoted, header.streams))}]",
    ]


def quoted(text: str) -> str:
    r"""Return a text as TOML writes it.

    Examples
    --------
    >>> print(quoted('a "b"'))
    "a \"b\""

    """
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'


def _vessel(vessel: DraftVessel) -> list[str]:
    found = vessel.found
    reason = "a well-on-test tag" if vessel.service == "test vessel" else "assumed; or heater treater, separator"
    lines = ["[[vessel]]", f"id = {quoted(vessel.id)}", f"service = {quoted(vessel.service)}    # {reason}"]
    lines += [f"# {key} = {form}    # {where}" for key, form, where in _BLANKS]
    lines.append(
        _level("normal_interface", found.interface, vessel, "interface_level", "drawing; 0.3 to 0.6 of the height")
    )
    lines.append(_level("normal_oil_level", found.oil_level, vessel, "oil_level", "drawing; weir or oil float"))
    if "temperature" not in vessel.signals:
        lines.append('# temperature = "? degF"    # where no tag tells; 60 to 200 degF')
    if "oil_water_cut" in vessel.signals and {"oil_rate", "oil_total"} & set(vessel.signals):
        lines.append(
            '# heating = { to = "? degF", efficiency = "? %" }    # the heater that follows; 120 to 180, 60 to 80'
        )
    lines += ["[vessel.water_dump]", *_dump(vessel)]
    lines += [
        "[vessel.oil_valve]",
        _pressure("holds", found.oil_holds, vessel),
    ]
    if "vessel_pressure" in vessel.signals:
        lines.append('# needs = "? psig"    # what moves the oil on')
    return [*lines, "[vessel.gas_valve]", _pressure("holds", found.gas_holds, vessel)]


def _dump(vessel: DraftVessel) -> list[str]:
    found = vessel.found
    action = f'action = "{found.action}"' if found.action else '# action = "snap"    # or "throttling"'
    lines = [action]
    if found.action != "throttling":
        lines.append(
            _level("opens_at", found.opens_at, vessel, "interface_level", "float; a few inches above the interface")
        )
        lines.append(_level("closes_at", found.closes_at, vessel, "interface_level", "float; 2 to 9 in below it opens"))
    if found.action != "snap":
        lines.append(_level("holds", found.holds, vessel, "interface_level", "throttling float; the interface"))
    lines.append("# cv = ?    # valve plate; gpm at 1 psi, 10 to 600")
    if "water_downstream_pressure" not in vessel.signals:
        lines.append('# downstream_pressure = "? psig"    # gauge behind the dump; 0 to 30 psig')
    return lines


def _level(key: str, value: float | None, vessel: DraftVessel, signal: str, where: str) -> str:
    unit = vessel.units.get(signal, "")
    if value is None or not _is_of(unit, signal):
        return f'# {key} = "? in"    # {where}'
    return f'{key} = "{value:.4g} {unit}"    # from the data'


def _pressure(key: str, value: float | None, vessel: DraftVessel) -> str:
    unit = vessel.units.get("vessel_pressure", "")
    if value is None or not _is_of(unit, "vessel_pressure"):
        return f'# {key} = "? psig"    # spring setting; 15 to 100 psig'
    return f'{key} = "{value:.4g} {unit}"    # from the data: held most of the time'


def _is_of(unit: str, signal: str) -> bool:
    """Return whether a value with this unit can stand in field.toml: a level in % cannot."""
    try:
        conversion(unit, SIGNALS[signal].dimension)
    except ValueError:
        return False
    return True


def blanks_of(text: str) -> Sequence[str]:
    """Return the keys that are still blank in a text of field.toml."""
    return [line[2:].partition(" = ")[0] for line in text.splitlines() if line.startswith("# ") and " = " in line]
