"""The draft: which vessel each tag is a row of, and what the two files say."""

import csv
import io
import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from nightgauge.adopt.balance import Units, balanced_units
from nightgauge.adopt.guesses import Guess, Seen
from nightgauge.adopt.measured import Measured, measured
from nightgauge.adopt.plausible import plausible_units
from nightgauge.adopt.readings import Readings
from nightgauge.adopt.states import state_map, words_of_state
from nightgauge.adopt.unit_columns import fits, same
from nightgauge.physics.geometry import Shell
from nightgauge.vocabulary.signals import SIGNALS

COLUMNS = ("tag", "vessel", "signal", "unit", "states", "max_gap", "note")
_LEAST = 0.3
"""A guess below this is no better than a blank: a wrong signal misleads the night, a blank is asked for.
House choice."""
_NEEDS_MORE = "anode_current"
"""A current is of an anode that field.toml has to describe first."""


@dataclass(frozen=True)
class Row:
    """One line of tags.csv as drafted, or of the list of tags that a person has to place."""

    tag: str
    vessel: str
    signal: str
    unit: str = ""
    states: str = ""
    max_gap: str = ""
    note: str = ""
    recorded: str = ""
    """How the historian keeps it, in words."""
    unit_why: str = ""
    """Where the unit comes from, or what contradicts it; empty where the export says it."""

    @property
    def cells(self) -> tuple[str, ...]:
        """Return the cells in the order of `COLUMNS`."""
        return (self.tag, self.vessel, self.signal, self.unit, self.states, self.max_gap, self.note)


@dataclass(frozen=True)
class DraftVessel:
    """One vessel as drafted."""

    id: str
    service: str
    signals: Mapping[str, int]
    """Its signals and the places of their tags."""
    units: Mapping[str, str]
    found: Measured
    wells: tuple[str, ...] = ()


@dataclass(frozen=True)
class Draft:
    """Everything that was made of the exports."""

    vessels: tuple[DraftVessel, ...]
    rows: tuple[Row, ...]
    """Of tags.csv."""
    unplaced: tuple[Row, ...]
    """Tags of which signal or vessel is not known."""
    guesses: tuple[Guess, ...]
    readings: Readings = field(repr=False)
    seen: Seen = field(repr=False)


def draft_of(
    readings: Readings,
    seen: Seen,
    guesses: Sequence[Guess],
    known: Mapping[str, str],
    shells: Mapping[str, Shell] | None = None,
) -> Draft:
    """Return the draft.

    Parameters
    ----------
    readings : Readings
        The raw samples.
    seen : Seen
        What was found out of all tags.
    guesses : sequence of Guess
        By tag.
    known : mapping of str to str
        Vessel by tag, as people have written it: a group takes the vessel that most of its tags have.
    shells : mapping of str to Shell, optional
        By vessel: its inside, where people have filled it in; units then follow from mass balances.

    """
    ids = _ids(guesses, seen, known)
    kept = [_is_kept(guess) for guess in guesses]
    by_vessel: dict[str, dict[str, int]] = defaultdict(dict)
    for place, guess in enumerate(guesses):
        if kept[place] and guess.signal is not None:
            by_vessel[ids[guess.vessel]][guess.signal] = place
    balanced = balanced_units(readings, by_vessel, shells or {})
    units = _units(readings, guesses, seen, kept, balanced)
    rows = [
        _row(
            readings,
            seen,
            guess,
            place,
            ids.get(guess.vessel, ""),
            (units[place], _unit_note(readings, guess, place, units, balanced)),
        )
        for place, guess in enumerate(guesses)
    ]
    lean = dict(enumerate(seen.behaviour["lean"].fill_null(0.0).to_list()))
    vessels = tuple(
        DraftVessel(
            id=vessel,
            service="test vessel" if "well_on_test" in signals else "free-water knockout",
            signals=signals,
            units={signal: units[place] for signal, place in signals.items()},
            found=measured(readings, signals, lean),
            wells=readings.texts.get(signals.get("well_on_test", -1), ()),
        )
        for vessel, signals in sorted(by_vessel.items(), key=lambda one: _in_order(one[0]))
    )
    placed = sorted((row for row, is_kept in zip(rows, kept, strict=True) if is_kept), key=_row_order)
    unplaced = tuple(row for row, is_kept in zip(rows, kept, strict=True) if not is_kept)
    return Draft(vessels, tuple(placed), unplaced, tuple(guesses), readings, seen)


def _is_kept(guess: Guess) -> bool:
    return (
        guess.vessel >= 0
        and guess.confidence >= _LEAST
        and not guess.is_second
        and guess.signal not in (None, _NEEDS_MORE)
    )


def _ids(guesses: Sequence[Guess], seen: Seen, known: Mapping[str, str]) -> dict[int, str]:
    """Return an id for each group: what people call it, else what its names share, else a running number."""
    keys: dict[int, Counter[object]] = defaultdict(Counter)
    written: dict[int, Counter[str]] = defaultdict(Counter)
    for place, guess in enumerate(guesses):
        if guess.vessel >= 0:
            keys[guess.vessel][seen.keyed[place].key] += 1
            if guess.tag in known:
                written[guess.vessel][known[guess.tag]] += 1
    ids: dict[int, str] = {}
    taken: set[str] = set()
    nameless = 0
    for group in sorted(keys, key=lambda one: -sum(written[one].values())):
        wished = written[group].most_common(1)[0][0] if written[group] else _spelt(keys[group].most_common(1)[0][0])
        nameless += not wished
        wished = wished or f"UNNAMED-{nameless}"
        chosen, again = wished, 2
        while chosen in taken:
            chosen, again = f"{wished}-{again}", again + 1
        taken.add(chosen)
        ids[group] = chosen
    return ids


def _spelt(key: object) -> str:
    """Return a vessel's id made of its key.

    Examples
    --------
    >>> _spelt(("101",)), _spelt(("ar", "1", "7")), _spelt(None)
    ('V-101', 'AR-1-7', '')

    """
    parts = [str(part) for part in key] if isinstance(key, tuple) else [str(key)] if key else []
    if parts and all(part.isdigit() for part in parts):
        parts = ["V", *parts]
    return "-".join(part.upper() for part in parts)


def _units(
    readings: Readings, guesses: Sequence[Guess], seen: Seen, kept: Sequence[bool], balanced: Units
) -> list[str]:
    """Return each tag's unit: what the export says where it fits, else what balances, else what is plausible."""
    middle = seen.behaviour["middle"].fill_null(0.0).to_list()
    medians: dict[str, list[float]] = defaultdict(list)
    for place, guess in enumerate(guesses):
        if kept[place] and guess.signal is not None and not readings.units.get(guess.tag):
            medians[guess.signal].append(middle[place])
    assumed = plausible_units(medians)
    units = []
    for place, guess in enumerate(guesses):
        said = readings.units.get(guess.tag, "")
        signal = guess.signal or ""
        units.append(said if said and fits(said, signal) else balanced.units.get(place, assumed.get(signal, "")))
    return units


def _unit_note(readings: Readings, guess: Guess, place: int, units: Sequence[str], balanced: Units) -> str:
    """Return where a tag's unit comes from, or what contradicts it; nothing where the export says it."""
    balance = balanced.units.get(place, "")
    if readings.units.get(guess.tag):
        return f"level and meter balance in {balance}" if balance and not same(balance, units[place]) else ""
    if not units[place]:
        return ""
    return balanced.why.get(place, "unit assumed")


def _row(readings: Readings, seen: Seen, guess: Guess, place: int, vessel: str, unit: tuple[str, str]) -> Row:
    texts = readings.texts.get(place, ())
    notes = [f"{_sure(guess.confidence)}: {guess.why}", *guess.told]
    if guess.vessel_confidence < 0.8:
        notes.append(f"vessel {_sure(guess.vessel_confidence)}: {guess.vessel_why}")
    if guess.signal == _NEEDS_MORE:
        notes.append("give its anode a table [[anode]] in field.toml first")
    if unit[1]:
        notes.append(unit[1])
    signal = guess.signal or ""
    longest_s = seen.behaviour["longest_s"][place]
    max_gap = _max_gap(longest_s, signal)
    recorded = _recorded(seen.behaviour.row(place, named=True), signal)
    if max_gap:
        notes.append(f"max_gap is twice its usual longest silence of {_duration(longest_s)}")
    return Row(
        guess.tag, vessel, signal, unit[0], state_map(texts) if words_of_state(texts) else "", max_gap,
        "; ".join([*notes, recorded] if recorded else notes), recorded, unit[1],
    )  # fmt: skip


def _recorded(of: Mapping[str, float | None], signal: str) -> str:
    """Return how a tag is recorded: how often at most, and by how much it moves at least."""
    scan_s, smallest = of["scan_s"], of["smallest"]
    kind = SIGNALS[signal].kind if signal in SIGNALS else ""
    if scan_s is None or kind in ("state", "text"):  # recorded when they change: that tells nothing of a scan
        return ""
    told = f"every {_duration(scan_s)} at most"
    return f"{told}, moves of {smallest:.2g} and more" if smallest is not None and kind == "analogue" else told


def _duration(seconds: float) -> str:
    """Return a duration in words.

    Examples
    --------
    >>> _duration(10.0), _duration(90.0), _duration(5400.0)
    ('10 s', '90 s', '1.5 h')

    """
    if seconds < 120.0:
        return f"{seconds:.3g} s"
    return f"{seconds / 60.0:.3g} min" if seconds < 5400.0 else f"{seconds / 3600.0:.2g} h"


def _sure(confidence: float) -> str:
    return "sure" if confidence >= 0.9 else "likely" if confidence >= 0.7 else "possible"


def _max_gap(longest_s: float | None, signal: str) -> str:
    """Return `max_gap` where the tag's usual silence is longer than half of the format's."""
    if longest_s is None or signal not in SIGNALS or 2.0 * longest_s <= SIGNALS[signal].max_gap_s:
        return ""
    return f"{np.ceil(2.0 * longest_s / 3600.0):g} h"


def _in_order(text: str) -> tuple[object, ...]:
    return tuple((0, int(part), "") if part.isdigit() else (1, 0, part) for part in re.findall(r"\d+|\D+", text))


def _row_order(row: Row) -> tuple[object, ...]:
    return (_in_order(row.vessel), list(SIGNALS).index(row.signal))


def tags_text(rows: Sequence[Row]) -> str:
    """Return rows as the text of tags.csv."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(row.cells for row in rows)
    return out.getvalue()
