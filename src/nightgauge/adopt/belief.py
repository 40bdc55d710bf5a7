"""Which parts of names mean something in this fleet: those that agree with what values leave no doubt of."""

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from nightgauge.adopt.evidence import Kinds
from nightgauge.adopt.names import LONE, STATES, TOTALS, WORDS, Name
from nightgauge.vocabulary.signals import SIGNALS

_FEWEST = 3
"""A letter group has to come in so many names to mean anything: random names hold letters too. House choice."""
_AGREES = 0.9
"""Share of its tags whose kind of value a part's meaning has to fit. An area's code stands before all kinds, of which
three in four are free values: AR fits "analysis" as often; letters that mean something fit nearly always.
House choice."""
_TRUE_NAMES = 0.5
"""Names mean nothing at all where of the tags whose kind is certain fewer than this share are named so. House choice:
letters by chance fit about a third."""

_FREE = frozenset(name for name, signal in SIGNALS.items() if signal.kind == "analogue")
_CERTAIN = {"state": frozenset(STATES), "total": frozenset(TOTALS), "daily": frozenset({"temperature"}), "free": _FREE}


def believed(tags: Sequence[str], kinds: Kinds, daily: npt.NDArray[np.bool_]) -> tuple[Name, ...]:
    """Return the names, with the parts that mean something.

    Parameters
    ----------
    tags : sequence of str
        Names as written.
    kinds : Kinds
        By tag.
    daily : (tags,) booleans
        Which tags follow the day.

    """
    all_kinds = [_kind(tag, kinds, daily) for tag in range(len(tags))]
    tags_of: dict[str, list[int]] = defaultdict(list)
    for tag, written in enumerate(tags):
        for part in {part.casefold() for part in Name(written).parts}:
            tags_of[part].append(tag)
    often, all_ = set(), set()
    for part, members in tags_of.items():
        meant = frozenset(_meant(part))
        asked = [all_kinds[tag] for tag in members if all_kinds[tag] is not None]
        fitting = sum(bool(meant & _CERTAIN[kind]) for kind in asked if kind is not None)
        if meant and fitting >= _AGREES * len(asked):
            all_.add(part)
            if len(members) >= _FEWEST or part in WORDS:
                often.add(part)
    # Letters that come once are believed where those that come often show that names mean what they say.
    names = tuple(Name(tag, frozenset(often)) for tag in tags)
    chosen = frozenset(all_) if _are_true(names, all_kinds) else frozenset[str]()
    return tuple(Name(tag, chosen) for tag in tags)


def _meant(part: str) -> set[str]:
    """Return the signals that a part speaks for, as a word, as letters, or as a letter by itself."""
    told = {signal for _, means in Name(f"{part.upper()}-1").says for signal in means}
    return told | set(LONE.get(part.upper(), ()))


def _kind(tag: int, kinds: Kinds, daily: npt.NDArray[np.bool_]) -> str | None:
    if kinds.is_text[tag] or kinds.never_moves[tag]:
        return None
    if kinds.is_state[tag]:
        return "state"
    if kinds.counts[tag]:
        return "total"
    return "daily" if daily[tag] else "free"


def _are_true(names: Sequence[Name], all_kinds: Sequence[str | None]) -> bool:
    asked = right = 0
    for name, kind in zip(names, all_kinds, strict=True):
        if kind is None or kind == "free":
            continue
        asked += 1
        right += any(signal in _CERTAIN[kind] for _, means in name.says for signal in means)
    return asked == 0 or right >= _TRUE_NAMES * asked
