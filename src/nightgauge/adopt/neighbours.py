"""What the tags of one vessel tell about each other: what falls in the dump, what leads, what follows, what lies above.

Three products of the looks carry it all. Of a tag and the dump: it *moves* with the dump when it is high while water
leaves, and *falls* when its change is. Of any two: one *leads* the other when it is high while the other rises. Inflow
leads: header pressure and the oil over the weir come first, then the level, then the water that it lets out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.adopt.evidence import PLACE, Kinds, Scores
from nightgauge.adopt.moving import Looks
from nightgauge.adopt.names import ANALYSES, POSITIONS, PRESSURES, RATES

Floats = npt.NDArray[np.floating[Any]]

_TRIPS = 0.35
"""Correlation of a fall with a dump from which the dump is believed; of snap valves nine in ten reach 0.4, of pairs of
other vessels none 0.2. House choice."""
_MOVES, _FALLS = 0.45, 0.2
"""Correlations with the dump from which a tag moves with it, or falls in it. House choices."""
_LEADS = 0.15
"""Difference of the two leads from which one tag leads the other. House choice."""
_BRIEF_S, _SELDOM = 90.0, 15.0
"""A scrubber's dump is shorter [s], and comes less often a day. Common practice, no source."""
_HELD = 0.75
"""A value whose usual range is a smaller share of its median is held, and no flow. House choice."""


@dataclass(frozen=True)
class Vessel:
    """One vessel's tags and how they move beside each other; arrays by the place in `tags`."""

    tags: tuple[int, ...]
    alone: "Alone"
    moves: Floats
    """Correlation of values, (n, n)."""
    leads: Floats
    """Correlation of one's value (row) with the other's change (column)."""
    follows: Floats
    """Correlation of half-hourly means."""

    @property
    def kinds(self) -> Kinds:
        """Return the kinds of all tags of the fleet."""
        return self.alone.kinds

    def middle(self, at: int) -> float:
        """Return the median raw value of the tag at this place."""
        return float(self.alone.middle[self.tags[at]])

    def climbed(self, at: int) -> float:
        """Return what the counter at this place counted."""
        return float(self.alone.climbed[self.tags[at]])

    def is_brief(self, at: int) -> bool:
        """Return whether the tag at this place is a switch that is on briefly and seldom, as a scrubber's dump."""
        return self.is_state(at) and bool(self.alone.is_brief[self.tags[at]])

    def is_held(self, at: int) -> bool:
        """Return whether the tag at this place keeps near one value."""
        return bool(self.alone.is_held[self.tags[at]])

    @property
    def free(self) -> list[int]:
        """Return the places of analogue tags."""
        return [at for at, tag in enumerate(self.tags) if self.kinds.is_analogue[tag]]

    def is_state(self, at: int) -> bool:
        """Return whether the tag at this place is a switch."""
        return bool(self.kinds.is_state[self.tags[at]])

    def counts(self, at: int) -> bool:
        """Return whether the tag at this place counts."""
        return bool(self.kinds.counts[self.tags[at]])


def vessel_of(tags: Sequence[int], alone: "Alone", looks: Looks) -> Vessel:
    """Return one vessel's tags and how they move beside each other."""
    at = list(tags)
    value, change, slow = looks.value[at], looks.change[at], looks.slow[at]
    return Vessel(tuple(at), alone, value @ value.T, value @ change.T, slow @ slow.T)


@dataclass(frozen=True)
class Alone:
    """What is known of each tag of the fleet by itself."""

    kinds: Kinds
    middle: Floats
    climbed: Floats
    is_brief: npt.NDArray[np.bool_]
    is_held: npt.NDArray[np.bool_]


def alone_of(behaviour: pl.DataFrame, kinds: Kinds) -> Alone:
    """Return what neighbours need to know of each tag: columns of `guesses.Seen.behaviour`."""
    of = {name: behaviour[name].cast(pl.Float64).fill_null(np.nan).to_numpy()
          for name in ("middle", "climbed", "open_s", "opens_per_day", "range")}  # fmt: skip
    with np.errstate(invalid="ignore"):
        is_brief = (of["open_s"] < _BRIEF_S) & (of["opens_per_day"] < _SELDOM)
        is_held = of["range"] < _HELD * np.abs(of["middle"])
    return Alone(kinds, np.nan_to_num(of["middle"]), np.nan_to_num(of["climbed"]), is_brief, is_held)


def neighbour_scores(scores: Scores, vessel: Vessel) -> None:
    """Add what the tags of one vessel tell about each other."""
    dump = _dump_of(vessel)
    if dump is not None:
        _beside_dump(scores, vessel, dump)
    _scrubber(scores, vessel)
    _two_meters(scores, vessel)
    if dump is None:
        _throttled(scores, vessel)
    _leaders(scores, vessel)
    _two_pressures(scores, vessel)
    _unmoved(scores, vessel)


def _dump_of(vessel: Vessel) -> int | None:
    """Return the tag that tells best when water leaves: while it is high, some level falls fastest."""
    best, found = _TRIPS, None
    free = vessel.free
    for at in range(len(vessel.tags)):
        others = [other for other in free if other != at]
        if not others or vessel.is_brief(at) or vessel.kinds.is_text[vessel.tags[at]]:
            continue
        falls = float(-vessel.leads[at, others].min())
        # A switch and a counter are what they are; a free value may itself be the level.
        strength = falls * (0.8 if at in free else 1.0)
        if strength > best:
            best, found = strength, at
    return found


def _beside_dump(scores: Scores, vessel: Vessel, dump: int) -> None:
    """Add what a tripping dump tells: levels and pressure fall while it runs, meter and line behind it move with it."""
    signals = {"water_dump_open": 4.0, "water_total": 4.0, "water_rate": 3.0}
    scores.add([vessel.tags[dump]], signals, 0.0, "a level falls while it runs")
    others = [at for at in range(len(vessel.tags)) if at != dump]
    for at in others:
        _beside_one(scores, vessel, dump, at)
    if vessel.is_state(dump):
        scores.add(vessel.tags, dict.fromkeys(POSITIONS, -2.0), 0.0, "")  # a valve that trips has no travel to tell
    falling = [at for at in vessel.free if at != dump and vessel.leads[dump, at] < -_FALLS]
    falling.sort(key=lambda at: vessel.leads[dump, at])
    if falling:
        _levels_among(scores, vessel, dump, falling)


def _beside_one(scores: Scores, vessel: Vessel, dump: int, at: int) -> None:
    tag, moves, falls = [vessel.tags[at]], vessel.moves[dump, at], vessel.leads[dump, at]
    if moves > _MOVES:
        with_it = {"water_total": 4.0, "water_dump_open": 4.0, "water_rate": 3.5, "water_downstream_pressure": 3.5,
                   "oil_total": -3.0, "oil_rate": -3.0, "vessel_pressure": -3.0, "inlet_pressure": -3.0,
                   "interface_level": -3.0}  # fmt: skip
        if not vessel.is_state(dump):
            with_it["water_dump_position"] = 3.0
            if at in vessel.free and vessel.is_held(at):
                # A throttling dump follows the level, so that the level is high while it runs; a flow is not held.
                with_it |= {"interface_level": 3.0, "water_rate": 0.5, "water_downstream_pressure": 2.0}
        scores.add(tag, with_it, 0.0, "moves with the dump")
    elif falls < -_FALLS:
        against = {"oil_total": 3.0, "oil_rate": 2.0, "gas_rate": 1.0, "water_total": -3.0, "water_rate": -3.0,
                   "water_downstream_pressure": -3.0}  # fmt: skip
        scores.add(tag, against, 0.0, "stops while water leaves")
        if moves < -0.15:
            # A level is as high as low while it falls; a pressure sags at once and stays down.
            scores.add(tag, {"vessel_pressure": 1.0, "interface_level": -0.7}, 0.0, "sags in the dump")
        scores.add(tag, {"interface_level": 1.5, "oil_level": 1.2, "vessel_pressure": 1.0}, 0.0, "falls in the dump")
    else:
        scores.add(tag, {"water_rate": -3.0, "interface_level": -2.0, "oil_level": -1.5, "oil_rate": -1.5}, 0.0, "")
        scores.add(tag, {"gas_rate": 1.0, "inlet_pressure": 0.7}, 0.0, "heedless of the dump")


def _levels_among(scores: Scores, vessel: Vessel, dump: int, falling: Sequence[int]) -> None:
    """Tell interface, oil level and pressure apart among tags that all fall in the dump."""
    most = vessel.leads[dump, falling[0]]
    # A level falls all the time the valve is open; a pressure sags, and is held again.
    if most < -0.72:
        scores.add(
            [vessel.tags[falling[0]]], {"interface_level": 1.5, "oil_level": 0.8}, 0.0, "falls all the dump long"
        )
    else:
        scores.add(
            [vessel.tags[falling[0]]], {"vessel_pressure": 1.5, "interface_level": -1.5}, 0.0, "sags in the dump"
        )
    like = [at for at in falling if vessel.leads[dump, at] < 0.8 * most and vessel.moves[at, falling[0]] > 0.7]
    if len(falling) > 1:
        scores.add([vessel.tags[falling[0]]], {"interface_level": 1.5, "oil_level": 0.8}, 0.0, "falls most in the dump")
    scores.add([vessel.tags[at] for at in falling if at not in like], {"vessel_pressure": 1.0}, 0.0, "sags in the dump")
    if len(like) > 1:
        upper = max(like, key=vessel.middle)
        scores.add([vessel.tags[upper]], {"oil_level": 1.2}, 0.0, "the upper of two levels")
        scores.add([vessel.tags[at] for at in like if at != upper], {"oil_level": -1.0}, 0.0, "")


def _scrubber(scores: Scores, vessel: Vessel) -> None:
    """Tell a scrubber's level and dump by each other: brief dumps, a level that plunges in them."""
    for at in range(len(vessel.tags)):
        if not vessel.is_brief(at):
            continue
        for level in vessel.free:
            if -vessel.leads[at, level] > _FALLS:
                scores.add([vessel.tags[level]], {"scrubber_level": 4.0}, 0.0, "plunges in brief dumps")
                scores.add([vessel.tags[at]], {"scrubber_dump_open": 3.0}, 0.0, "a level plunges while it is open")


def _two_meters(scores: Scores, vessel: Vessel) -> None:
    """Tell water from oil where two meters run: oil comes with the inflow, water follows; and water is usually more."""
    meters = [at for at in range(len(vessel.tags)) if vessel.counts(at)]
    if meters:
        scores.add([vessel.tags[at] for at in vessel.free], {"oil_rate": -2.5, "water_rate": -2.5}, 0.0, "")
    if len(meters) == 1:
        scores.add([vessel.tags[meters[0]]], {"water_total": 1.0}, 0.0, "the only meter")
    elif len(meters) == 2:
        _water_and_oil(scores, vessel, meters, ("water_total", "oil_total"))
        more = max(meters, key=vessel.climbed)
        less = min(meters, key=vessel.climbed)
        if vessel.climbed(more) > 1.5 * vessel.climbed(less):
            scores.add([vessel.tags[more]], {"water_total": 1.2}, 0.0, "counts more than the other")
            scores.add([vessel.tags[less]], {"oil_total": 1.2}, 0.0, "counts less than the other")


def _water_and_oil(scores: Scores, vessel: Vessel, pair: Sequence[int], signals: tuple[str, str]) -> None:
    one, other = pair
    lead = float(vessel.leads[one, other] - vessel.leads[other, one])
    if abs(lead) < _LEADS:
        return
    oil, water = (one, other) if lead > 0.0 else (other, one)
    gain = min(6.0 * abs(lead), 3.5)
    scores.add([vessel.tags[oil]], {signals[1]: gain, signals[0]: -gain}, 0.0, "comes with the inflow")
    scores.add([vessel.tags[water]], {signals[0]: gain, signals[1]: -gain}, 0.0, "follows the other meter")


def _throttled(scores: Scores, vessel: Vessel) -> None:
    """Tell what goes up and down with a throttling dump: travel, water, and the level that moves them."""
    best, found = 0.35, None
    for flow in range(len(vessel.tags)):
        if not (vessel.counts(flow) or (flow in vessel.free and not vessel.is_held(flow))):
            continue
        for level in vessel.free:
            if level == flow or not vessel.is_held(level):
                continue
            # The level goes with its dump and does not lead it, as the inflow does.
            bond = float(vessel.moves[level, flow] - max(vessel.leads[level, flow], 0.0)
                         - max(vessel.leads[flow, level], 0.0))  # fmt: skip
            if bond > best:
                best, found = bond, (level, flow)
    if found is None:
        return
    group = {at for at in (*vessel.free, *(m for m in range(len(vessel.tags)) if vessel.counts(m)))
             if all(at == one or vessel.moves[at, one] > 0.5 for one in found)}  # fmt: skip
    why = "goes up and down with the dump"
    for at in group | set(found):
        gains = {"water_total": 2.5, "water_rate": 2.5, "water_dump_position": 2.5, "interface_level": 2.5,
                 "vessel_pressure": -1.5, "inlet_pressure": -1.0}  # fmt: skip
        scores.add([vessel.tags[at]], gains, 0.0, why)


def _leaders(scores: Scores, vessel: Vessel) -> None:
    """Tell pressures from levels: pressure comes with the inflow, the level follows."""
    for one in vessel.free:
        for other in vessel.free:
            lead = float(vessel.leads[one, other] - vessel.leads[other, one])
            if one != other and vessel.moves[one, other] > 0.25 and lead > _LEADS:
                gain = min(2.0 * lead, 1.0)
                first = {"vessel_pressure": 0.7 * gain, "inlet_pressure": gain, "oil_rate": gain}
                scores.add([vessel.tags[one]], first, 0.0, "comes before the level")
                scores.add([vessel.tags[other]], {"interface_level": gain, "water_rate": gain, "oil_level": 0.7 * gain,
                                                  "water_dump_position": gain}, 0.0, "follows the inflow")  # fmt: skip


def _two_pressures(scores: Scores, vessel: Vessel) -> None:
    """Tell the header from the vessel: it follows and lies a little above."""
    probable = scores.probabilities()
    columns = [PLACE[name] for name in PRESSURES]
    like = {at: float(probable[vessel.tags[at], columns].sum()) for at in vessel.free}
    for at in vessel.free:
        for other in vessel.free:
            if other == at or not 0.0 < vessel.middle(at) < vessel.middle(other) < 1.6 * vessel.middle(at):
                continue
            follows = max(float(vessel.follows[at, other]), float(vessel.moves[at, other]))
            if follows > 0.25:
                weight = like[at] * like[other]
                scores.add([vessel.tags[other]], {"inlet_pressure": weight * (2.0 + 2.0 * follows),
                           "vessel_pressure": -weight}, 0.0, "follows a pressure, a little above")  # fmt: skip
                scores.add([vessel.tags[at]], {"vessel_pressure": 1.5 * weight, "inlet_pressure": -1.5 * weight}, 0.0,
                           "another lies above it")  # fmt: skip


def _unmoved(scores: Scores, vessel: Vessel) -> None:
    """Let analyses be what nothing moves."""
    if len(vessel.tags) == 1 and vessel.free:
        scores.add(vessel.tags, {"oil_water_cut": 0.7, "water_oil_content": 1.7, "inlet_pressure": -1.5,
                                 "vessel_pressure": -0.7}, 0.0, "moves with nothing")  # fmt: skip
    if len(vessel.tags) < 3:
        return
    for at in vessel.free:
        others = [other for other in range(len(vessel.tags)) if other != at]
        if float(np.abs(vessel.moves[at, others]).max()) < 0.06:
            tag = [vessel.tags[at]]
            scores.add(tag, dict.fromkeys(ANALYSES, 1.0) | {"scrubber_level": 0.5}, 0.0, "nothing moves it")
            scores.add(
                tag, {"interface_level": -1.5, "vessel_pressure": -0.5, **dict.fromkeys(RATES[:2], -1.5)}, 0.0, ""
            )
