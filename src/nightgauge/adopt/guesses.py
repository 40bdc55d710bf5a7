"""The guess for each tag: behaviour, name, unit and the other vessels' tags of the same pattern, taken together."""

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl
from scipy.optimize import linear_sum_assignment

from nightgauge.adopt.behaviour import counts_up, raw_behaviour, shapes
from nightgauge.adopt.belief import believed
from nightgauge.adopt.evidence import ORDER, PLACE, Kinds, Scores, kind_scores, own_scores
from nightgauge.adopt.moving import Looks, joined, looks_of, together
from nightgauge.adopt.names import STATES, TOTALS, Name
from nightgauge.adopt.neighbours import alone_of, neighbour_scores, vessel_of
from nightgauge.adopt.readings import STEP_S, WINDOW_DAYS, Matrix, Readings, minutes_of
from nightgauge.adopt.states import highs_of, words_of_state
from nightgauge.adopt.unit_columns import fits, unit_scores
from nightgauge.adopt.vessels import Bonds, Keyed, Placed, grouped, keys_of

Tell = Callable[[str, int, int], None]

_BLOCK = 64
"""Tags worked on at a time: keeps memory small. House choice."""
_TAKEN = 4.0
"""What speaks against a second tag of one signal on a vessel. House choice."""
_POOL_COUNTS, _POOL_MOST = 1.5, 6.0
"""What the other vessels' tags of the same pattern weigh beside other scores, and at most. House choice: sure, where
many agree."""
_NAMELESS = 2.0
"""Where no name and no unit speaks, scores count half: behaviours that look alike come in company. House choice,
checked on simulated fleets."""
_OFTEN, _LEANS = 15.0, -0.35
"""Turns a day, and skewness of the changes, from which a switch or level tells of dumps. House choices."""
_LIKELY = 0.7
"""From this a tag that moves with nothing is taken for what makes a vessel. House choice."""
_TURNING_MIN = 45
"""While a well is turned in, little flows: so long before another well's name is written. House choice. [min]"""
_DOUBT = 0.5
"""Pseudo-count of a pattern's votes: one lonely vote is half a vote. House choice."""


@dataclass(frozen=True)
class Guess:
    """What one tag is taken for."""

    tag: str
    signal: str | None
    """None where nothing tells."""
    confidence: float
    why: str
    vessel: int
    """Number of its group, -1 for none."""
    vessel_confidence: float
    vessel_why: str
    told: tuple[str, ...] = ()
    """What a person should know: a contradiction of name and behaviour."""
    is_second: bool = False
    """Another tag of the vessel has the same signal, and more surely."""


@dataclass(frozen=True)
class Seen:
    """What was found out of all tags, kept for the settings and the page."""

    behaviour: pl.DataFrame
    """One row per tag, in order."""
    kinds: Kinds
    looks: Looks
    strength: npt.NDArray[np.float32]
    names: tuple[Name, ...]
    keyed: tuple[Keyed, ...]


def seen_of(readings: Readings, tell: Tell) -> Seen:
    """Return behaviour and neighbours of all tags; the readings are those of the window."""
    count = WINDOW_DAYS * int(86400 / STEP_S)
    earliest = readings.samples["time_s"].min()
    first_s = readings.latest_s - count * STEP_S
    if isinstance(earliest, float) and earliest > first_s:
        # A day at least, be it mostly empty: less holds no dump and no course of a day.
        count = max(int((readings.latest_s - earliest) / STEP_S) + 1, int(86400 / STEP_S))
        first_s = readings.latest_s - (count - 1) * STEP_S
    raw = raw_behaviour(readings)
    rows = pl.DataFrame({"tag_id": range(len(readings.tags))}, schema={"tag_id": pl.Int32})
    raw = rows.join(raw, on="tag_id", how="left", maintain_order="left")
    kinds = _kinds(readings, raw)
    looks, shaped = [], []
    for start in range(0, len(readings.tags), _BLOCK):
        tags = range(start, min(start + _BLOCK, len(readings.tags)))
        minutes = minutes_of(readings, tags, first_s, count)
        shaped.append(shapes(minutes.last, tags))
        values = np.where(kinds.is_state[tags][:, None], minutes.highest, minutes.last)
        looks.append(looks_of(_flows(values, kinds.counts[tags], kinds.is_text[tags])))
        tell("looking at tags", tags[-1] + 1, len(readings.tags))
    found = joined(looks)
    shape = pl.concat(shaped).with_columns(pl.col("tag_id").cast(pl.Int32)).fill_nan(None)
    behaviour = raw.join(shape, on="tag_id", how="left", maintain_order="left")
    behaviour = behaviour.with_columns(**highs_of(readings, np.flatnonzero(kinds.is_state)))
    names = believed(readings.tags, kinds, behaviour["daily"].fill_null(0.0).to_numpy() > 0.8)
    strength = together(found).strength
    tell("comparing tags", 1, 1)
    return Seen(behaviour, kinds, found, strength, names, tuple(keys_of(names, strength)))


def _kinds(readings: Readings, raw: pl.DataFrame) -> Kinds:
    are_words = np.array([words_of_state(readings.texts.get(tag, ())) for tag in range(len(readings.tags))])
    has_text = np.array([tag in readings.texts for tag in range(len(readings.tags))])
    two = (
        ((raw["low"] >= 0) & (raw["high"] <= 1) & (raw["distinct"] <= 2) & (raw["decimals"] == 0))
        .fill_null(value=False)
        .to_numpy()
    )
    is_state = (has_text & are_words) | (~has_text & two)
    counts = counts_up(raw).fill_null(value=False).to_numpy() & ~has_text & ~is_state
    never_moves = ~has_text & (raw["distinct"] == 1).fill_null(value=True).to_numpy()
    return Kinds(has_text & ~is_state, is_state & ~never_moves, counts & ~never_moves, never_moves)


def _flows(values: Matrix, counts: npt.NDArray[np.bool_], is_text: npt.NDArray[np.bool_]) -> Matrix:
    """Return totals as what they count in each minute, and texts as the times just before they change."""
    step = np.diff(values, axis=1, prepend=np.nan)
    counted = np.where(step >= 0.0, step, np.where(np.isnan(step), np.nan, 0.0))
    known = np.isfinite(counted)
    if known.any() and counts.any():
        # A roll-over or reset read as a step would be the one thing that is seen.
        usual = np.nanquantile(np.where(known, counted, 0.0), 0.999, axis=1, keepdims=True)
        counted = np.minimum(counted, 3.0 * usual + 1e-9)
    changed = np.zeros_like(values)
    for row in np.flatnonzero(is_text):
        for at in np.flatnonzero(known[row] & (step[row] != 0.0)):
            changed[row, max(at - _TURNING_MIN, 0) : at + 1] = 1.0
    return np.where(counts[:, None], counted, np.where(is_text[:, None], changed, values))


def guesses_of(readings: Readings, seen: Seen) -> tuple[Guess, ...]:
    """Return a guess for each tag."""
    placed = grouped(seen.names, seen.keyed, _bonds(seen))
    groups = _groups(placed)
    scores = kind_scores(seen.kinds)
    own_scores(scores, seen.kinds, seen.behaviour)
    unit_scores(scores, readings)
    named = scores.copy()
    _add_names(named, seen)
    # Twice: what behaviour alone tells shows what contradicts a name; names make neighbours tell more.
    for one in (scores, named):
        _add_neighbours(one, groups, seen)
    behaved, scores = scores.probabilities(), named
    _pool(scores, seen.keyed)
    doubt = np.array([1.0 if name.says or readings.units.get(name.tag) else _NAMELESS for name in seen.names])
    weighed = Scores(scores.values / doubt[:, None], scores.reasons)
    _lone(weighed, {group: tags for group, tags in groups.items() if not seen.names[tags[0]].says})
    chosen = _exclusive(weighed, groups, len(placed))
    chosen = _no_surer_than_shown(chosen, groups, seen, readings)
    placed = _without_mere_scrubbers(placed, groups, chosen)
    return tuple(
        _guess(tag, readings.tags[tag], scores, behaved, placed[tag], chosen[tag]) for tag in range(len(readings.tags))
    )


def _add_neighbours(scores: Scores, groups: dict[int, list[int]], seen: Seen) -> None:
    alone = alone_of(seen.behaviour, seen.kinds)
    for tags in groups.values():
        neighbour_scores(scores, vessel_of(tags, alone, seen.looks))


def _bonds(seen: Seen) -> Bonds:
    daily = _follows_the_day(seen)
    strength = seen.strength.copy()
    strength[daily] = strength[:, daily] = 0.0  # the weather is common to all vessels
    strength[np.ix_(seen.kinds.is_text, seen.kinds.is_text)] = 0.0  # wells are turned by one crew, vessel after vessel
    single = {"total": seen.kinds.counts, "state": seen.kinds.is_state, "text": seen.kinds.is_text, "daily": daily}
    often = (seen.behaviour["opens_per_day"].fill_null(0.0) > _OFTEN).to_numpy() & seen.kinds.is_state
    most = {"total": len(TOTALS), "state": len(STATES), "text": 1, "daily": 1}
    return Bonds(strength, single, most, often | seen.kinds.counts | _saws(seen))


def _saws(seen: Seen) -> npt.NDArray[np.bool_]:
    lean, turns = (seen.behaviour[name].fill_null(0.0).to_numpy() for name in ("lean", "per_day"))
    return np.asarray(seen.kinds.is_analogue & (lean < _LEANS) & (turns > _OFTEN))


def _follows_the_day(seen: Seen) -> npt.NDArray[np.bool_]:
    return (seen.behaviour["daily"].fill_null(0.0) > 0.8).to_numpy() & seen.kinds.is_analogue


def _groups(placed: Sequence[Placed]) -> dict[int, list[int]]:
    groups: dict[int, list[int]] = defaultdict(list)
    for tag, one in enumerate(placed):
        if one.vessel >= 0:
            groups[one.vessel].append(tag)
    return groups


def _add_names(scores: Scores, seen: Seen) -> None:
    """Add what names say."""
    for tag, name in enumerate(seen.names):
        for part, means in name.says:
            scores.add([tag], means, 0.0, f'"{part}" in the name')


def _pool(scores: Scores, keyed: Sequence[Keyed]) -> None:
    """Let tags whose names share a pattern vote on what the pattern means."""
    patterns: dict[object, list[int]] = defaultdict(list)
    for tag, one in enumerate(keyed):
        if one.key is not None:
            patterns[one.rest].append(tag)
    probable = scores.probabilities()
    for tags in patterns.values():
        if len(tags) < 2:
            continue
        votes = probable[tags].sum(axis=0)
        for tag in tags:
            others = votes - probable[tag]
            share = (others + _DOUBT) / (len(tags) - 1 + _DOUBT * len(ORDER))
            gain = _POOL_COUNTS * (np.log(share) - np.log(share.min()))
            gain *= min(1.0, _POOL_MOST / max(float(gain.max()), 1e-9))
            best = {ORDER[at]: float(gain[at]) for at in np.flatnonzero(gain > 0.05)}
            scores.add([tag], best, 0.0, "as on other vessels")


_FEW = 3
"""So many tags of one pattern, or fewer, are no more than company. House choice."""
_MANY = frozenset({"anode_current"})
"""Signals that a vessel may have several of."""


@dataclass(frozen=True)
class _Chosen:
    signal: str
    confidence: float
    is_second: bool


def _exclusive(scores: Scores, groups: dict[int, list[int]], count: int) -> list[_Chosen]:
    """Return the signal of each tag, each signal once a vessel, so that all together fit best."""
    chosen: list[_Chosen | None] = [None] * count
    for tags in groups.values():
        values = scores.values[tags]
        best = values.argmax(axis=1)
        # Beside the signals each once, columns that let each tag be a second one of the signal it is likeliest to be.
        seconds = np.where(np.eye(len(tags), dtype=bool), values.max(axis=1)[:, None] - _TAKEN, -1e6)
        _, columns = linear_sum_assignment(np.hstack([values, seconds]), maximize=True)
        signals = [int(at) if at < len(ORDER) else int(best[row]) for row, at in enumerate(columns)]
        for row, tag in enumerate(tags):
            signal = signals[row]
            taken = [one for other, one in enumerate(signals) if other != row and one != signal]
            left = values[row].copy()
            left[taken] -= _TAKEN
            powers = np.exp(left - left.max())
            is_second = bool(columns[row] >= len(ORDER)) and ORDER[signal] not in _MANY
            chosen[tag] = _Chosen(ORDER[signal], float(powers[signal] / powers.sum()), is_second)
    probable = scores.probabilities()
    return [
        one or _Chosen(ORDER[int(probable[tag].argmax())], float(probable[tag].max()), is_second=False)
        for tag, one in enumerate(chosen)
    ]


_LOOK_ALIKE = frozenset(ORDER) - {
    "vessel_pressure", "interface_level", "temperature", "water_dump_open", "scrubber_dump_open", "water_total",
    "oil_total", "well_on_test", "oil_water_cut",
}  # fmt: skip
"""Signals that behave like others: without a word for them they are likely at best."""
_ALONE = frozenset({"vessel_pressure", "oil_water_cut", "water_total", "oil_total"})
"""Signals that a tag alone shows too little of; tags of the same pattern on many vessels show it together."""
_AT_MOST = 0.79
"""How sure a guess is that rests on behaviour which others share: below what counts as sure. House choice."""
_WORD = 1.0
"""A name says which signal it is where what it weighs for the next one is so much less. House choice."""


def _no_surer_than_shown(
    chosen: Sequence[_Chosen], groups: Mapping[int, list[int]], seen: Seen, readings: Readings
) -> list[_Chosen]:
    """Return the choices, likely at best where neither a word nor behaviour of its own tells a signal from others."""
    two_levels = {
        tag for tags in groups.values() if any(chosen[tag].signal == "oil_level" for tag in tags) for tag in tags
    }
    alike = Counter(one.rest for one in seen.keyed if one.key is not None)
    out = []
    for tag, one in enumerate(chosen):
        keyed = seen.keyed[tag]
        is_of_pattern = keyed.key is not None and alike[keyed.rest] > _FEW
        is_shared = (
            one.signal in _LOOK_ALIKE
            or (one.signal in _ALONE and not is_of_pattern)
            or (one.signal == "interface_level" and tag in two_levels)
        )
        is_capped = is_shared and not _says_it(seen.names[tag], readings.units.get(seen.names[tag].tag, ""), one.signal)
        out.append(replace(one, confidence=min(one.confidence, _AT_MOST)) if is_capped else one)
    return out


def _says_it(name: Name, unit: str, signal: str) -> bool:
    """Return whether name and unit together tell this signal from all others."""
    weights: Counter[str] = Counter()
    for _, means in name.says:
        for other, weight in means.items():
            weights[other] += weight  # type: ignore[assignment]
    if unit:
        weights = Counter({other: weight for other, weight in weights.items() if fits(unit, other)})
    mine = weights.pop(signal, 0)
    return mine > 0 and mine >= max(weights.values(), default=0) + _WORD


_OF_NO_VESSEL = frozenset(
    {"scrubber_level", "scrubber_dump_open", "temperature", "oil_water_cut", "water_oil_content", "gas_rate",
     "well_on_test", "anode_current"}
)  # fmt: skip
"""Tags that make no vessel by themselves: without a name that says whose they are, a person has to place them."""


def _without_mere_scrubbers(
    placed: Sequence[Placed], groups: dict[int, list[int]], chosen: Sequence[_Chosen]
) -> list[Placed]:
    """Return the places, none for groups that behaviour made of tags that make no vessel."""
    out = list(placed)
    for tags in groups.values():
        if all(chosen[tag].signal in _OF_NO_VESSEL and "name" not in placed[tag].why for tag in tags):
            for tag in tags:
                out[tag] = Placed(-1, 0.0, "moves with no vessel")
    return out


def _lone(scores: Scores, groups: dict[int, list[int]]) -> None:
    """Let a tag that moves with nothing be what makes a vessel, where that is likely."""
    probable = scores.probabilities()
    makes = np.array([name not in _OF_NO_VESSEL for name in ORDER])
    for tags in groups.values():
        if len(tags) == 1 and float(probable[tags[0], makes].sum()) >= _LIKELY:
            scores.values[tags[0], ~makes] -= _TAKEN


def _guess(
    tag: int, name: str, scores: Scores, behaved: npt.NDArray[np.float64], placed: Placed, chosen: _Chosen
) -> Guess:  # fmt: skip
    why = scores.reasons[tag].get(chosen.signal, (0.0, "by elimination"))[1]
    told = [f"its name says another vessel, but it {placed.contradicts}"] if placed.contradicts else []
    likely = int(behaved[tag].argmax())
    if behaved[tag, PLACE[chosen.signal]] < 0.02 and behaved[tag, likely] > 0.6:
        told.append(f"it behaves like {ORDER[likely].replace('_', ' ')}")
    if chosen.is_second:
        told.append(f"another tag of the vessel is its {chosen.signal.replace('_', ' ')}")
    return Guess(
        name,
        chosen.signal,
        min(chosen.confidence, 0.99),
        why,
        placed.vessel,
        placed.confidence,
        placed.why,
        tuple(told),
        chosen.is_second,
    )
