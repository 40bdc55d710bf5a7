"""The drawn vessel: a section to scale with water, oil and gas at the week's levels, as one SVG with its words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from nightgauge.field.settings import Vessel
from nightgauge.physics.geometry import Shell, shell
from nightgauge.report.quantities import rounded, shown
from nightgauge.units import System

_WIDTH = 380.0
_SIDE_LABELS = 166.0
"""Room at the left for words. [px]"""
_OUTLET = 40.0
"""Room at the right for the oil outlet and its name. [px]"""
_MARGIN = 26.0
"""Room above and below for a nozzle with its name. [px]"""
_LARGEST_HEIGHT = 240.0
_LINE = 15.0
"""Least distance of two lines of words. [px]"""
_FOOT_M = 0.3048
_STUB, _BORE, _FLANGE = 9.0, 3.0, 5.5
"""Length, half the bore and half the flange of a nozzle. [px] Not to scale: nozzles are not in field.toml."""
_INLET_AT, _OUTLET_AT = 0.06, 0.9
"""Where along the shell its nozzles are drawn, inlet end to far end. [1] Schematic, as the caption says."""
_OIL_AT = 0.7
"""Height of the oil outlet where no oil level is known. [1] Schematic."""


@dataclass(frozen=True)
class Levels:
    """Where a surface stood in the week. [m] None where it is not known."""

    median_m: float | None = None
    low_m: float | None = None
    """10th percentile."""
    high_m: float | None = None
    """90th percentile."""


@dataclass(frozen=True)
class _Section:
    """A vessel on the drawing: its shell, the scale, where its lowest inside point and left end lie. [px]"""

    inside: Shell
    scale: float
    left: float
    bottom: float

    @property
    def height(self) -> float:
        return self.inside.height_m * self.scale

    @property
    def width(self) -> float:
        return _long(self.inside) * self.scale

    def y(self, level_m: float) -> float:
        """Return where a level lies, held inside the vessel."""
        return self.bottom - min(max(level_m, 0.0), self.inside.height_m) * self.scale


def _long(inside: Shell) -> float:
    lying = inside.orientation == "horizontal"
    return inside.length_m + 2 * inside.head_depth_m if lying else inside.inside_diameter_m


def drawn_vessel(vessel: Vessel, interface: Levels, oil: Levels, system: System, name: str) -> Markup | None:
    """Return the vessel's section as SVG, or None where its dimensions are not known.

    Parameters
    ----------
    vessel : Vessel
        For dimensions and settings; those of the water dump in force last.
    interface, oil : Levels
        Of the week; without a median the setting is drawn and said to be one.
    system : {"oilfield", "metric"}
        Units of the words.
    name : str
        Unique on the page, for the parts that refer to each other.

    """
    inside = shell(vessel.inside_diameter_m, vessel.length_m, vessel.heads, vessel.orientation)
    if inside is None:
        return None
    scale = min((_WIDTH - _SIDE_LABELS - _OUTLET) / _long(inside), _LARGEST_HEIGHT / inside.height_m)
    section = _Section(inside, scale, _SIDE_LABELS, _MARGIN + inside.height_m * scale)
    words = _levels_words(vessel, interface, oil, system)
    parts = [_fluids(section, vessel, interface, oil, name), _outline(section), _baffle(section, vessel)]
    parts += [_nozzles(section, _top(oil, vessel.normal_oil_level_m))]
    parts += [_ticks(section, vessel), _labels(section, words)]
    described = escape(_described(vessel, inside, words, system))
    bottom = max(section.bottom, _MARGIN + len(words) * _LINE) + _MARGIN
    return Markup(
        f'<svg class="vessel" viewBox="0 0 {_WIDTH:.0f} {bottom:.0f}" role="img" aria-label="{described}">'
        f"{''.join(parts)}</svg>"
    )


def _shape(section: _Section) -> str:
    """Return the path of the inside: straight shell between two heads drawn as half ellipses of their depth."""
    inside, scale = section.inside, section.scale
    depth, straight = inside.head_depth_m * scale, inside.length_m * scale
    radius = inside.inside_diameter_m * scale / 2
    if inside.orientation == "horizontal":
        left, top = section.left + depth, section.bottom - 2 * radius
        return (
            f"M{left:.1f},{top:.1f} h{straight:.1f} a{depth:.1f},{radius:.1f} 0 0 1 0,{2 * radius:.1f} "
            f"h{-straight:.1f} a{depth:.1f},{radius:.1f} 0 0 1 0,{-2 * radius:.1f} Z"
        )
    top = section.bottom - section.height + depth
    return (
        f"M{section.left:.1f},{top:.1f} a{radius:.1f},{depth:.1f} 0 0 1 {2 * radius:.1f},0 "
        f"v{straight:.1f} a{radius:.1f},{depth:.1f} 0 0 1 {-2 * radius:.1f},0 Z"
    )


def _fluids(section: _Section, vessel: Vessel, interface: Levels, oil: Levels, name: str) -> str:
    parts = [
        f'<clipPath id="{name}-inside"><path d="{_shape(section)}"/></clipPath>',
        f'<pattern id="{name}-hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<path class="hatch" d="M0,0 V5"/></pattern>',
        f'<g clip-path="url(#{name}-inside)">{_slab(section, section.inside.height_m, "gas")}',
    ]
    for level, fluid in ((_top(oil, vessel.normal_oil_level_m), "oil"), (_water_level(vessel, interface), "water")):
        if level is not None:
            parts.append(_slab(section, level, fluid))
    parts += [_band(section, levels, name) for levels in (interface, oil)]
    return "".join([*parts, "</g>"])


def _top(levels: Levels, setting_m: float | None) -> float | None:
    return setting_m if levels.median_m is None else levels.median_m


def _water_level(vessel: Vessel, interface: Levels) -> float | None:
    """Return the top of the water; a vessel of two phases without an oil level has its liquid drawn as oil."""
    return _top(interface, vessel.normal_interface_m)


def _slab(section: _Section, level_m: float, fluid: str) -> str:
    y = section.y(level_m)
    return (
        f'<rect class="{fluid}" x="{section.left:.1f}" y="{y:.1f}" width="{section.width:.1f}" '
        f'height="{section.bottom - y:.1f}"/>'
    )


def _band(section: _Section, levels: Levels, name: str) -> str:
    if levels.low_m is None or levels.high_m is None:
        return ""
    top, bottom = section.y(levels.high_m), section.y(levels.low_m)
    return (
        f'<rect fill="url(#{name}-hatch)" x="{section.left:.1f}" y="{top:.1f}" width="{section.width:.1f}" '
        f'height="{max(bottom - top, 1):.1f}"/>'
    )


def _outline(section: _Section) -> str:
    return f'<path class="wall" d="{_shape(section)}"/>'


def _baffle(section: _Section, vessel: Vessel) -> str:
    if vessel.baffle_at_m is None or section.inside.orientation != "horizontal":
        return ""
    x = section.left + (section.inside.head_depth_m + vessel.baffle_at_m) * section.scale
    return f'<path class="baffle" d="M{x:.1f},{section.bottom:.1f} v{-0.8 * section.height:.1f}"/>'


def _nozzles(section: _Section, oil_m: float | None) -> str:
    """Return inlet and outlets as short stubs with their names, where vessels of the sort usually have them."""
    inside, top = section.inside, section.bottom - section.height
    right = section.left + section.width
    oil_y = section.y(_OIL_AT * inside.height_m if oil_m is None else oil_m)
    oil = _stub_right(_wall_x(section, oil_y), right, oil_y, "oil")
    if inside.orientation == "vertical":
        middle = section.left + section.width / 2
        # Between the oil level and the upper seam, which is where the feed comes into the gas.
        inlet_y = (oil_y + min(top + inside.head_depth_m * section.scale, oil_y - 2 * _LINE)) / 2
        feed = _stub_right(_wall_x(section, inlet_y), right, inlet_y, "in")
        return feed + oil + _stub_up(middle, top, "gas") + _stub_down(middle, section.bottom, "water")
    shell_left, straight = section.left + inside.head_depth_m * section.scale, inside.length_m * section.scale
    inlet, outlet = shell_left + _INLET_AT * straight, shell_left + _OUTLET_AT * straight
    feed = _stub_up(inlet, top, "in")
    return feed + oil + _stub_up(outlet, top, "gas") + _stub_down(outlet, section.bottom, "water")


def _wall_x(section: _Section, y: float) -> float:
    """Return where the right wall lies at a height of the drawing."""
    inside, right = section.inside, section.left + section.width
    depth, radius = inside.head_depth_m * section.scale, inside.inside_diameter_m * section.scale / 2
    if inside.orientation == "horizontal":
        across = min(abs(y - (section.bottom - section.height / 2)) / radius, 1.0)
        return right - depth + depth * math.sqrt(1.0 - across**2)
    into_head = max(section.bottom - section.height + depth - y, y - (section.bottom - depth), 0.0)
    if into_head == 0.0 or depth == 0.0:
        return right
    return right - radius + radius * math.sqrt(1.0 - min(into_head / depth, 1.0) ** 2)


def _stub_up(x: float, top: float, name: str) -> str:
    flange = f"M{x - _FLANGE:.1f},{top - _STUB:.1f} h{2 * _FLANGE:.1f}"
    pipe = f"M{x - _BORE:.1f},{top:.1f} v{-_STUB:.1f} M{x + _BORE:.1f},{top:.1f} v{-_STUB:.1f}"
    return _named_stub(f"{flange} {pipe}", (x + _FLANGE + 4, top - 4), name)


def _stub_down(x: float, bottom: float, name: str) -> str:
    flange = f"M{x - _FLANGE:.1f},{bottom + _STUB:.1f} h{2 * _FLANGE:.1f}"
    pipe = f"M{x - _BORE:.1f},{bottom:.1f} v{_STUB:.1f} M{x + _BORE:.1f},{bottom:.1f} v{_STUB:.1f}"
    return _named_stub(f"{flange} {pipe}", (x + _FLANGE + 4, bottom + 14), name)


def _stub_right(wall: float, right: float, y: float, name: str) -> str:
    end = right + _STUB
    flange = f"M{end:.1f},{y - _FLANGE:.1f} v{2 * _FLANGE:.1f}"
    pipe = f"M{wall:.1f},{y - _BORE:.1f} H{end:.1f} M{wall:.1f},{y + _BORE:.1f} H{end:.1f}"
    return _named_stub(f"{flange} {pipe}", (end + 4, y + 4), name)


def _named_stub(path: str, place: tuple[float, float], name: str) -> str:
    words = f'<text class="nozzle" x="{place[0]:.1f}" y="{place[1]:.1f}">{name}</text>'
    return f'<path class="stub" d="{path}"/>{words}'


def _ticks(section: _Section, vessel: Vessel) -> str:
    """Return short strokes on the left wall at the levels at which the dump opens and shuts."""
    dump = vessel.water_dump[-1] if vessel.water_dump else None
    levels = () if dump is None else (dump.opens_at_m, dump.closes_at_m, dump.holds_m)
    return "".join(
        f'<path class="tick" d="M{section.left - 8:.1f},{section.y(level):.1f} h16"/>'
        for level in levels
        if level is not None
    )


def _levels_words(vessel: Vessel, interface: Levels, oil: Levels, system: System) -> list[tuple[float, str]]:
    """Return what is written beside the drawing: level [m] and words."""

    def text(level_m: float) -> str:
        return str(shown(level_m, "m", system))

    told: list[tuple[float, str]] = []
    for levels, setting, what in (
        (oil, vessel.normal_oil_level_m, "oil level"),
        (interface, vessel.normal_interface_m, "interface"),
    ):
        if levels.median_m is not None:
            told.append((levels.median_m, f"{what} {text(levels.median_m)}"))
        elif setting is not None:
            told.append((setting, f"{what} set {text(setting)}"))
    dump = vessel.water_dump[-1] if vessel.water_dump else None
    if dump is not None:
        settings = ((dump.opens_at_m, "opens"), (dump.closes_at_m, "shuts"), (dump.holds_m, "dump holds"))
        told += [(level, f"{verb} {text(level)}") for level, verb in settings if level is not None]
    return sorted(told, reverse=True)


def _labels(section: _Section, words: Sequence[tuple[float, str]]) -> str:
    """Return the words at the left with leader lines, pushed apart so that none lies over another."""
    x = section.left - 26
    wanted = [section.y(level) for level, _ in words]
    places = _apart(wanted)
    return "".join(
        f'<path class="leader" d="M{section.left:.1f},{at:.1f} H{x + 16:.1f} L{x + 4:.1f},{place:.1f}"/>'
        f'<text x="{x:.1f}" y="{place + 4:.1f}" text-anchor="end">{escape(text)}</text>'
        for (_, text), at, place in zip(words, wanted, places, strict=True)
    )


def _apart(wanted: Sequence[float]) -> list[float]:
    """Return places in the same order, each at least a line below the one before, moved up where the foot is near."""
    places: list[float] = []
    for at in wanted:
        places.append(max(at, places[-1] + _LINE) if places else max(at, _LINE))
    over = places[-1] - max(wanted[-1], len(wanted) * _LINE) if places else 0.0
    return [place - min(over / 2, max(places[0] - _LINE, 0.0)) for place in places]


def size_text(length_m: float, system: System) -> str:
    """Return a vessel's dimension in the unit it is ordered in, feet or metres.

    Examples
    --------
    >>> size_text(2.4384, "oilfield"), size_text(2.4384, "metric")
    ('8 ft', '2.44 m')

    """
    return f"{rounded(length_m / _FOOT_M)} ft" if system == "oilfield" else f"{rounded(length_m)} m"


def _described(vessel: Vessel, inside: Shell, words: Sequence[tuple[float, str]], system: System) -> str:
    size = f"inside diameter {size_text(inside.inside_diameter_m, system)}, length {size_text(inside.length_m, system)}"
    return f"Section of {vessel.id}, {inside.orientation}, {size}, {inside.heads} heads: " + "; ".join(
        t for _, t in words
    )
