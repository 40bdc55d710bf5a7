"""What speaks for which signal: scores from a tag's own behaviour, and from how it moves beside its neighbours.

Scores are natural logarithms of odds, house choices throughout: 1 is a hint, 3 is likely, 5 is nearly sure. They add
up; what they come to as probabilities is checked on fleets with known truth (`tests/benchmarks/adoption.py`).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

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

    def copy(self) -> "Scores":
        """Return scores that can be added to without changing these."""
        return Scores(self.values.copy(), [dict(one) for one in self.reasons])

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
    never_moves: Bools
    """One number all the time: it may be anything but a meter that runs."""

    @property
    def is_analogue(self) -> Bools:
        """Return which tags are none of these."""
        return ~(self.is_text | self.is_state | self.counts | self.never_moves)


def kind_scores(kinds: Kinds) -> Scores:
    """Return scores with what the kind of value excludes."""
    scores = Scores.blank(len(kinds.is_text))
    for chosen, signals, why in (
        (kinds.is_text, ("well_on_test",), "texts that are no states"),
        (kinds.is_state, STATES, "switches between two values"),
        (kinds.counts, TOTALS, "counts up"),
        (kinds.is_analogue, _ANALOGUES, "moves freely"),
        (kinds.never_moves, (*_ANALOGUES, *STATES), "never moves"),
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
    of["never"] = kinds.never_moves
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
    # A few of its fastest falls, as many as it has peaks: a scrubber is empty within a minute, a vessel is not.
    plunges = (of["drop"] > 0.7) & (of["per_day"] < 15.0) & (of["valley_scatter"] < 0.15)
    empties = (of["q05"] <= 0.05 * of["range"]) & (of["low"] >= -0.05 * of["range"])
    saws_seldom = plunges & (of["slow"] > 0.7)
    upright = of["middle"] > 0.25 * of["range"]
    return (
        (free & daily & (of["memory"] > 0.9), {"temperature": 6.0}, "follows the day"),
        (free & ~daily, {"temperature": -2.5}, ""),
        (free & saws & ~saws_seldom, {"interface_level": 3.0, "oil_level": 1.7, "vessel_pressure": 0.7}, "sawtooth"),
        (free & saws_seldom, {"scrubber_level": 4.0, "interface_level": 1.0}, "slow sawtooth"),
        (free & ~saws_seldom, {"scrubber_level": -2.0}, ""),
        (free & empties, dict.fromkeys(RATES, 2.0) | dict.fromkeys(POSITIONS, 0.7), "goes down to nothing"),
        (free & empties, dict.fromkeys((*PRESSURES, *LEVELS, *ANALYSES), -2.0), ""),
        (free & ~empties & ~rests, {"gas_rate": -1.0, "oil_rate": -1.5}, ""),
        (
            free & rests,
            dict.fromkeys(RATES, 3.0) | dict.fromkeys(POSITIONS, 0.5) | {"anode_current": 2.0},
            "rests at nothing",
        ),
        (free & ~rests & upright, dict.fromkeys(RATES, -1.5), ""),
        (free & rests, dict.fromkeys((*PRESSURES, *LEVELS), -2.5), ""),
        (free & (of["slow"] < 0.1), {"vessel_pressure": -0.3, "inlet_pressure": -0.3}, ""),
    )


def _size_rules(of: Mapping[str, Floats], free: Bools) -> tuple[_Rule, ...]:
    steady = of["range"] < 0.75 * of["middle"]
    in_percent = (of["low"] >= -2.0) & (of["high"] <= 102.0)
    large = of["q95"] > 300.0
    wide = in_percent & (of["range"] > 15.0) & (of["range"] > 0.4 * of["middle"])
    faint = in_percent & (of["middle"] < 8.0) & (of["low"] > 0.0) & (of["range"] < 3.0)
    whole = (of["decimals"] < 0.05) & (of["distinct"] > 8)
    return (
        (free & (of["range"] < 0.06 * of["middle"]), {"vessel_pressure": 0.8}, "held closely"),
        (free & steady, {"vessel_pressure": 1.5, "inlet_pressure": 0.9}, "held"),
        (free & ~steady, dict.fromkeys(PRESSURES, -1.5) | dict.fromkeys(LEVELS, -1.0), ""),
        (free & (of["q95"] < 100.0), {"gas_rate": 1.0}, "small for a liquid's flow"),
        (
            of["never"] & (of["middle"] == 0.0),
            {"scrubber_dump_open": 2.0, "gas_rate": 1.0, "water_dump_open": 1.0},  # a meter at rest shows some noise
            "always nothing",
        ),
        (of["never"] & (of["middle"] == 1.0), {"water_dump_open": 2.5}, "always 1"),
        (free & large & ~steady, {"water_rate": 1.5, "oil_rate": 1.5, "gas_rate": 0.5}, "size of a flow"),
        (free & ~in_percent, dict.fromkeys((*POSITIONS, "oil_water_cut"), -4.0), ""),
        (free & wide, {"water_dump_position": 2.0}, "between 0 and 100"),
        (free & ~wide, dict.fromkeys(POSITIONS, -2.5), ""),
        # A throttling valve works over much of its travel, down to nearly shut; a header swings up and comes back.
        (
            wide & free & (of["q05"] > 0.78 * of["middle"]),
            {"inlet_pressure": 1.5, **dict.fromkeys(POSITIONS, -2.0)},
            "keeps well above nothing",
        ),
        (free & faint, {"oil_water_cut": 2.5, "vessel_pressure": -2.0, "interface_level": -2.0}, "a few per cent"),
        (free & whole & steady, {"water_oil_content": 1.5}, "whole numbers"),
        (free & ~whole, {"water_oil_content": -1.0}, ""),
        (free & (of["middle"] < 5.0) & ~faint, dict.fromkeys(LEVELS, -1.0), ""),
    )
