"""What speaks for which signal: scores from a tag's own behaviour, and from how it moves beside its neighbours.

Scores are natural logarithms of odds, house choices throughout: 1 is a hint, 3 is likely, 5 is nearly sure. They add
up; what they come to as probabilities is checked on fleets with known truth (`tests/benchmarks/adoption.py`).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.adopt.moving import Looks
from nightgauge.adopt.names import ANALYSES, LEVELS, POSITIONS, PRESSURES, RATES, STATES, TOTALS
from nightgauge.vocabulary.signals import SIGNALS

ORDER = tuple(SIGNALS)
PLACE = {signal: place for place, signal in enumerate(ORDER)}
_ANALOGUES = tuple(name for name, signal in SIGNALS.items() if signal.kind == "analogue")
_NEVER = -12.0
"""Against a kind that the values exclude: a number that only climbs is no switch."""
_PRIOR: Mapping[str, float] = {
    "oil_downstream_pressure": -2.0, "oil_dump_open": -2.5, "oil_valve_position": -2.0, "gas_valve_position": -2.0,
    "anode_current": -2.5, "water_downstream_pressure": -0.7, "oil_level": -0.4, "scrubber_level": -0.7,
    "water_oil_content": -0.5, "scrubber_dump_open": -0.3, "oil_water_cut": -0.2,
}  # fmt: skip
"""How much rarer some signals are than pressures and levels. Common practice, no source."""

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]


@dataclass
class Scores:
    """Scores of each tag for each signal of `ORDER`, and the weightiest reason for each."""

    values: Floats
    reasons: list[dict[str, tuple[float, str]]] = field(default_factory=list)

    @classmethod
    def blank(cls, count: int) -> "Scores":
        """Return the scores of tags of which nothing is known."""
        values = np.zeros((count, len(ORDER)))
        for signal, score in _PRIOR.items():
            values[:, PLACE[signal]] = score
        return cls(values, [{} for _ in range(count)])

    def add(self, tags: Iterable[int], signals: Sequence[str] | Mapping[str, float], score: float, why: str) -> None:
        """Add a score to some signals of some tags, with the reason in a word or two."""
        weights = signals if isinstance(signals, Mapping) else dict.fromkeys(signals, score)
        columns = [PLACE[signal] for signal in weights]
        gains = np.array(list(weights.values()))
        for tag in tags:
            self.values[tag, columns] += gains
            for signal, gain in weights.items():
                if gain > self.reasons[tag].get(signal, (0.0, ""))[0]:
                    self.reasons[tag][signal] = (gain, why)

    def probabilities(self) -> Floats:
        """Return the scores as probabilities."""
        powers = np.exp(self.values - self.values.max(axis=1, keepdims=True))
        return np.asarray(powers / powers.sum(axis=1, keepdims=True))


@dataclass(frozen=True)
class Kinds:
    """What the values themselves leave no doubt of, one entry per tag."""

    is_text: Bools
    is_state: Bools
    counts: Bools

    @property
    def is_analogue(self) -> Bools:
        """Return which tags are none of these."""
        return ~(self.is_text | self.is_state | self.counts)


def kind_scores(kinds: Kinds) -> Scores:
    """Return scores with what the kind of value excludes."""
    scores = Scores.blank(len(kinds.is_text))
    for chosen, signals, why in (
        (kinds.is_text, ("well_on_test",), "texts that are no states"),
        (kinds.is_state, STATES, "switches between two values"),
        (kinds.counts, TOTALS, "counts up"),
        (kinds.is_analogue, _ANALOGUES, "moves freely"),
    ):
        tags = np.flatnonzero(chosen)
        scores.add(tags, [name for name in ORDER if name not in signals], _NEVER, "")
        scores.add(tags, signals, 0.1, why)
    return scores


def own_scores(scores: Scores, kinds: Kinds, seen: pl.DataFrame) -> None:
    """Add what each tag's own behaviour tells.

    Parameters
    ----------
    scores : Scores
        Added to.
    kinds : Kinds
        By tag.
    seen : pl.DataFrame
        One row per tag, in order: the columns of `raw_behaviour` and `shapes`, open_s (median length of the high
        state) and opens_per_day; nulls where nothing moves.

    """
    of = {name: seen[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in seen.columns}
    free = kinds.is_analogue
    with np.errstate(invalid="ignore"):
        rules = (*_state_rules(of, kinds.is_state), *_shape_rules(of, free), *_size_rules(of, free))
    for chosen, weights, why in rules:
        scores.add(np.flatnonzero(chosen), weights, 0.0, why)


_Rule = tuple[Bools, Mapping[str, float], str]


def _state_rules(of: Mapping[str, Floats], is_state: Bools) -> tuple[_Rule, ...]:
    short, rare = of["open_s"] < 90.0, of["opens_per_day"] < 15.0
    return (
        (is_state & short & rare, {"scrubber_dump_open": 3.0}, "opens for less than a minute"),
        (is_state & ~short & (of["open_s"] > 120.0), {"water_dump_open": 2.5}, "open for minutes"),
        (is_state & (of["opens_per_day"] >= 15.0), {"water_dump_open": 2.0}, "opens often"),
    )


def _shape_rules(of: Mapping[str, Floats], free: Bools) -> tuple[_Rule, ...]:
    daily = of["daily"] > 0.8
    tidy = (of["peak_scatter"] < 0.15) & (of["valley_scatter"] < 0.15)
    saws = (of["lean"] < -0.35) & (of["falling"] < 0.46) & tidy
    rests = (of["rest"] > 0.25) & (of["low"] >= -0.02 * of["range"]) & (of["low"] < 0.1 * of["range"])
    slow_saw = saws | ((of["falling"] < 0.4) & (of["memory"] > 0.97) & (of["valley_scatter"] < 0.08))
    saws_seldom = slow_saw & (of["per_day"] < 10.0) & (of["slow"] > 0.75)
    upright = of["middle"] > 0.25 * of["range"]
    still = of["range"] == 0.0
    return (
        (free & daily & (of["memory"] > 0.9), {"temperature": 6.0}, "follows the day"),
        (free & ~daily, {"temperature": -2.5}, ""),
        (free & saws & ~saws_seldom, {"interface_level": 3.0, "oil_level": 1.7, "vessel_pressure": 0.7}, "sawtooth"),
        (free & saws_seldom, {"scrubber_level": 4.0, "interface_level": 1.0}, "slow sawtooth"),
        (free & ~slow_saw, {"scrubber_level": -2.0}, ""),
        (free & rests, dict.fromkeys(RATES, 3.0) | dict.fromkeys(POSITIONS, 0.5), "rests at nothing"),
        (free & ~rests & upright, dict.fromkeys(RATES, -1.5), ""),
        (free & rests, dict.fromkeys((*PRESSURES, *LEVELS), -2.5), ""),
        (free & ~still & (of["slow"] < 0.1), {"vessel_pressure": -0.3, "inlet_pressure": -0.3}, ""),
        (free & still & (of["middle"] == 0.0), dict.fromkeys(RATES, 2.0), "never moves from nothing"),
    )


def _size_rules(of: Mapping[str, Floats], free: Bools) -> tuple[_Rule, ...]:
    steady = of["range"] < 0.75 * of["middle"]
    in_percent = (of["low"] >= -2.0) & (of["high"] <= 102.0)
    large = of["q95"] > 300.0
    wide = in_percent & (of["range"] > 15.0) & (of["range"] > 0.4 * of["middle"])
    faint = in_percent & (of["middle"] < 8.0) & (of["low"] > 0.0) & (of["range"] < 3.0)
    whole = (of["decimals"] < 0.05) & (of["distinct"] > 8)
    return (
        (free & steady, {"vessel_pressure": 1.5, "inlet_pressure": 0.9}, "held"),
        (free & ~steady, dict.fromkeys(PRESSURES, -1.5) | dict.fromkeys(LEVELS, -1.0), ""),
        (free & large & ~steady, {"water_rate": 1.5, "oil_rate": 1.5, "gas_rate": 0.5}, "size of a flow"),
        (free & ~in_percent, dict.fromkeys((*POSITIONS, "oil_water_cut"), -4.0), ""),
        (free & wide, {"water_dump_position": 2.0}, "between 0 and 100"),
        (free & ~wide, dict.fromkeys(POSITIONS, -1.0), ""),
        (free & faint, {"oil_water_cut": 2.5, "vessel_pressure": -2.0, "interface_level": -2.0}, "a few per cent"),
        (free & whole & steady, {"water_oil_content": 1.5}, "whole numbers"),
        (free & (of["middle"] < 5.0) & ~faint, dict.fromkeys(LEVELS, -1.0), ""),
    )


def neighbour_scores(scores: Scores, group: Sequence[int], kinds: Kinds, looks: Looks, middle: Floats) -> None:
    """Add what the tags of one vessel tell about each other.

    Parameters
    ----------
    scores : Scores
        Added to.
    group : sequence of int
        Places of the vessel's tags.
    kinds : Kinds
        By tag.
    looks : Looks
        By tag.
    middle : (tags,) floats
        Median raw value.

    """
    tags = list(group)
    free = [tag for tag in tags if kinds.is_analogue[tag]]
    reference = _dump_of(tags, free, kinds, looks)
    if reference is not None:
        _beside_dump(scores, reference, tags, kinds, looks, middle)
    else:
        _without_dump(scores, tags, kinds, looks)
    _throttled(scores, tags, kinds, looks, middle)
    _two_pressures(scores, free, looks, middle)
    _unmoved(scores, free, tags, looks)


def _dump_of(tags: Sequence[int], free: Sequence[int], kinds: Kinds, looks: Looks) -> int | None:
    """Return the tag that tells best when water leaves: while it is high, some level falls fastest."""
    best, found = 0.35, None
    for candidate in tags:
        if kinds.is_text[candidate]:
            continue
        others = [tag for tag in free if tag != candidate]
        if not others:
            continue
        falls = -(looks.change[others] @ looks.value[candidate])
        # A switch and a counter are what they are; a free value may itself be the level.
        strength = float(falls.max()) * (0.8 if kinds.is_analogue[candidate] else 1.0)
        if strength > best:
            best, found = strength, candidate
    return found


def _beside_dump(
    scores: Scores, reference: int, tags: Sequence[int], kinds: Kinds, looks: Looks, middle: Floats
) -> None:
    """Add what the dump tells: levels and pressure fall while it runs, meter and line behind it move with it."""
    signals = {"water_dump_open": 4.0, "water_total": 4.0, "water_rate": 3.0, "water_dump_position": 1.0}
    scores.add([reference], signals, 0.0, "a level falls while it runs")
    others = [tag for tag in tags if tag != reference]
    falls = dict(zip(others, (looks.change[others] @ looks.value[reference]).tolist(), strict=True))
    moves = dict(zip(others, (looks.value[others] @ looks.value[reference]).tolist(), strict=True))
    falling = sorted((tag for tag in others if falls[tag] < -0.2 and kinds.is_analogue[tag]), key=falls.__getitem__)
    for tag in others:
        if moves[tag] > 0.45:
            flows = {"water_total": 4.0, "water_dump_open": 4.0, "water_rate": 3.5, "water_dump_position": 3.0,
                     "water_downstream_pressure": 3.5, "oil_total": -3.0, "oil_rate": -3.0, "vessel_pressure": -3.0,
                     "interface_level": -3.0}  # fmt: skip
            scores.add([tag], flows, 0.0, "moves with the dump")
        elif falls[tag] < -0.2:
            flows = {"oil_total": 3.0, "oil_rate": 2.5, "water_total": -3.0, "water_rate": -3.0,
                     "water_downstream_pressure": -3.0}  # fmt: skip
            scores.add([tag], flows, 0.0, "stops while water leaves")
    for tag in falling:
        scores.add([tag], {"interface_level": 1.5, "oil_level": 1.2, "vessel_pressure": 1.0}, 0.0, "falls in the dump")
    strong = [tag for tag in falling if falls[tag] < 0.85 * falls[falling[0]]]
    if strong:
        _levels_among(scores, strong, looks, middle)


def _levels_among(scores: Scores, strong: Sequence[int], looks: Looks, middle: Floats) -> None:
    """Tell interface, oil level and pressure apart among tags that all fall in the dump."""
    alike = [
        tag for tag in strong
        if tag == strong[0] or float(looks.value[tag] @ looks.value[strong[0]]) > 0.75
    ]  # fmt: skip
    scores.add(strong[:1], {"interface_level": 1.5, "oil_level": 0.8}, 0.0, "falls most in the dump")
    if len(alike) > 1:
        upper = max(alike, key=lambda tag: middle[tag])
        scores.add([upper], {"oil_level": 0.8}, 0.0, "the upper of two levels")
        scores.add([tag for tag in alike if tag != upper], {"oil_level": -0.8}, 0.0, "")


def _without_dump(scores: Scores, tags: Sequence[int], kinds: Kinds, looks: Looks) -> None:
    """Let meters tell each other apart: the one that moves against the other's rest."""
    counters = [tag for tag in tags if kinds.counts[tag]]
    if len(counters) == 1:
        scores.add(counters, {"water_total": 1.0}, 0.0, "the only meter")
    for tag in counters:
        pressures = [other for other in tags if kinds.is_analogue[other]]
        if pressures:
            falls = float((looks.change[pressures] @ looks.value[tag]).min())
            if falls < -0.25:
                scores.add([tag], {"water_total": 2.0}, 0.0, "pressure sags while it runs")


def _throttled(scores: Scores, tags: Sequence[int], kinds: Kinds, looks: Looks, middle: Floats) -> None:
    """Tell what goes up and down with a throttling dump: travel, water, and the level that moves them."""
    for tag in tags:
        if not kinds.is_analogue[tag]:
            continue
        others = [other for other in tags if other != tag and not kinds.is_text[other]]
        if not others:
            continue
        together = looks.value[others] @ looks.value[tag]
        if float(together.max()) > 0.6:
            scores.add([tag], {"interface_level": 0.8, "water_dump_position": 0.8, "water_rate": 0.6}, 0.0,
                       "moves with travel or flow")  # fmt: skip


def _two_pressures(scores: Scores, free: Sequence[int], looks: Looks, middle: Floats) -> None:
    """Tell the header from the vessel: it follows and lies a little above."""
    probable = scores.probabilities()
    held = [tag for tag in free if probable[tag, [PLACE[p] for p in PRESSURES]].sum() > 0.25]
    for tag in held:
        for other in held:
            if other == tag or not 0.0 < middle[tag] < middle[other] < 2.0 * middle[tag]:
                continue
            follows = max(float(looks.slow[tag] @ looks.slow[other]), float(looks.value[tag] @ looks.value[other]))
            if follows > 0.25:
                scores.add([other], {"inlet_pressure": 2.0 + 2.0 * follows, "vessel_pressure": -1.0}, 0.0,
                           "follows a pressure, a little above")  # fmt: skip
                scores.add([tag], {"vessel_pressure": 1.5, "inlet_pressure": -1.5}, 0.0, "another lies above it")


def _unmoved(scores: Scores, free: Sequence[int], tags: Sequence[int], looks: Looks) -> None:
    """Let analyses be what nothing moves."""
    if len(tags) < 3:
        return
    for tag in free:
        others = [other for other in tags if other != tag]
        if float(np.abs(looks.value[others] @ looks.value[tag]).max()) < 0.06:
            scores.add([tag], dict.fromkeys(ANALYSES, 1.0) | {"scrubber_level": 0.5}, 0.0, "nothing moves it")
            scores.add([tag], {"interface_level": -1.5, "vessel_pressure": -0.5, "water_rate": -1.5}, 0.0, "")
