"""A fall of a well's tests in words and numbers: what it makes less of, or more of, and what that costs."""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.history import History
from nightgauge.detect.well_records import KIND, Fall, Record
from nightgauge.detect.wording import Draft, day_of, duration, quantity
from nightgauge.statistics.few import Shift
from nightgauge.vocabulary.findings import Candidate, Effect, Term

_TELLING = 2.0
"""Deviations from which a rate has changed, for the words alone. House choice: 95 %."""
_SAME = 0.05
"""Change of a rate below which it is called the same, however sure. House choice: two tests' scatter."""
_SHORTER = 0.5
"""Part of the usual length below which tests are shorter ones, which purge and slugs move more. House choice."""


def candidate(history: History, record: Record, fall: Fall, others: list[bool]) -> Candidate:
    """Return the finding of a fall.

    Parameters
    ----------
    others : list of bool
        For each other well tested before and since: whether it moved by about the same share.

    """
    draft = Draft(history, KIND, f"well:{record.well}")
    begin, last = float(record.begun[fall.out[0]]), float(record.ended[fall.out[-1]])
    changes = _changes(record, fall)
    what = _what_happened(changes)
    share = _share(changes[fall.name])
    draft.priority = "medium" if fall.is_confirmed and not fall.is_slow and what != _LESS_WATER else "low"
    draft.confidence = _confidence(fall, others)
    draft.severity = -share
    if fall.ended_by is not None:
        draft.ended_s, draft.settled = float(record.begun[fall.ended_by]), fall.is_settled
    draft.over(begin, last)
    _numbers(draft, record, fall, changes)
    draft.effect = _cost(record, fall) if fall.ended_by is None else None
    _instead(draft, record, fall, others)
    return draft.done(_summary(history, record, fall, what), begin, last)


def _changes(record: Record, fall: Fall) -> dict[str, Shift]:
    """Return for each rate that is known on both sides how its late tests lie to its record."""
    found = {}
    for name in ("liquid", "oil", "water", "gas"):
        rate = record.rate(name)
        if rate is None:
            continue
        known = set(rate.known.tolist())
        before, after = ([p for p in places if p in known] for places in (fall.record, fall.late))
        moved = rate.moved(before, after)
        if moved is not None:
            found[name] = fall.moved if fall.is_slow and name == fall.name else moved
    return found


def _share(moved: Shift) -> float:
    return float(np.expm1(moved.size))


def _way(moved: Shift | None) -> int | None:
    """Return -1, 0 or 1 for less, the same or more; None where it is not known."""
    if moved is None:
        return None
    if abs(moved.deviations) < _TELLING or abs(_share(moved)) < _SAME:
        return 0
    return -1 if moved.size < 0.0 else 1


_LESS_WATER = "less water, and oil as before"


def _what_happened(changes: dict[str, Shift]) -> str:
    water, oil, gas = (_way(changes.get(name)) for name in ("water", "oil", "gas"))
    if oil is None:
        return "less water; oil is not metered"
    if water is None:
        return "less oil; water is not metered"
    if gas == 1 and oil == -1:
        return "less oil and more gas"
    if water == 1 and oil == -1:
        return "more water and less oil"
    if water == -1 and oil == -1:
        return "less of everything" if gas != 0 else "less liquid, and gas as before"
    if oil == -1:
        return "less oil only, and water as before"
    return _LESS_WATER if water == -1 else "less liquid"


def _confidence(fall: Fall, others: list[bool]) -> float:
    """Return by rule: more for more tests and for a clearer fall, and for other wells that stayed. House choice."""
    if not fall.is_confirmed:
        return 0.55 + 0.05 * bool(others)
    surely = 0.05 * min(3.0, max(0.0, abs(fall.moved.deviations) - 3.5))
    return (0.6 if fall.is_slow else 0.65) + surely + 0.05 * (len(fall.out) > 2) + 0.05 * (len(others) > 1)


def _numbers(draft: Draft, record: Record, fall: Fall, changes: dict[str, Shift]) -> None:
    """Tell each rate found beside its record, the cut, and how sure the change is."""
    tests = "test" if len(fall.late) == 1 else f"{len(fall.late)} tests"
    names = [fall.name, *(name for name in ("liquid", "oil", "water", "gas") if name != fall.name)]
    for name in names:
        if name in changes and (sides := _sides(record, fall, name)) is not None:
            draft.found(f"{sides.name} rate, last {tests}", sides.now, "m3/day", sides.before)
    cuts = _cuts(record, fall)
    if cuts is not None:
        draft.found(f"water cut, last {tests}", cuts[1], "1", cuts[0])
    moved = changes[fall.name]
    sure = float(np.exp(moved.size)) * moved.error
    draft.found(f"fall of the {fall.name} rate", -_share(moved), "1", draft.history.limit(KIND, "least_fall"))
    draft.found("standard uncertainty of that fall", sure, "1", None)
    draft.found("tests in the record before", float(len(fall.record)), "", None)
    name = "deviations" if fall.is_confirmed else "deviations_alone"
    draft.found("fall over the usual scatter of its tests, allowing for few", abs(fall.moved.deviations), "",
                draft.history.limit(KIND, name))  # fmt: skip


@dataclass(frozen=True)
class _Sides:
    """One rate before a fall and now, as medians of the tests. [m3/day]"""

    name: str
    before: float
    now: float


def _sides(record: Record, fall: Fall, name: str) -> _Sides | None:
    """Return a rate on both sides of a fall; None where a side does not have it."""
    rate = record.rate(name)
    if rate is None:
        return None
    before, now = (rate.values[list(places)] for places in (fall.record, fall.late))
    if not (np.isfinite(before).any() and np.isfinite(now).any()):
        return None
    return _Sides(rate.name, float(np.nanmedian(before)), float(np.nanmedian(now)))


def _cuts(record: Record, fall: Fall) -> tuple[float, float] | None:
    """Return the median water cut of the record and of the late tests."""
    cuts = [record.cut[list(places)] for places in (fall.record, fall.late)]
    if not all(np.isfinite(values).any() for values in cuts):
        return None
    before, after = (float(np.nanmedian(values)) for values in cuts)
    return before, after


def _cost(record: Record, fall: Fall) -> Effect | None:
    """Return the oil that the well makes less, or its liquid where that is all that is known. [m3/day]"""
    for name in ("oil", "liquid"):
        if record.rate(name) is not None:
            sides = _sides(record, fall, name)
            if sides is None or sides.now >= sides.before:
                return None
            terms = (
                Term(f"{sides.name} rate, median of the tests before", sides.before, "m3/day"),
                Term(f"{sides.name} rate, median of the last tests", sides.now, "m3/day"),
            )
            basis = f"{name} that the well makes less: tests before less last tests"
            return Effect(sides.before - sides.now, "m3/day", basis, terms)
    return None


def _instead(draft: Draft, record: Record, fall: Fall, others: list[bool]) -> None:
    stayed = len(others) - sum(others)
    if stayed:
        wells = "1 other well" if stayed == 1 else f"{stayed} other wells"
        draft.not_because("meter of the vessel", f"{wells} tested before and since did not move with it")
    else:
        draft.not_because("meter of the vessel", "not excluded: no other well was tested before and since")
    if fall.is_confirmed:
        draft.not_because("a test gone wrong", f"{len(fall.out)} tests say the same")
    else:
        draft.not_because("a test gone wrong", "not excluded until a second test says the same")
    lasted = record.ended - record.begun
    now, usual = (float(np.median(lasted[list(places)])) for places in (fall.late, fall.record))
    told = f"they lasted {duration(now)}, those before {duration(usual)}"
    draft.not_because("shorter tests", told if now >= _SHORTER * usual else f"not excluded: {told}")


def _summary(history: History, record: Record, fall: Fall, what: str) -> str:
    since = day_of(history, float(record.begun[fall.out[0]]))
    how = "slowly " if fall.is_slow else ""
    words = f"Well {record.well} {how}makes {what} since its test of {since}: {_rates(history, record, fall)}"
    if not fall.is_confirmed:
        words += "; one test, far out of its record"
    if fall.is_settled:
        words += "; taken as its record since"
    elif fall.ended_by is not None:
        words += f"; back since its test of {day_of(history, float(record.begun[fall.ended_by]))}"
    return f"{words}."


def _rates(history: History, record: Record, fall: Fall) -> str:
    """Return the rate that fell, and the oil beside it."""
    parts = []
    for name in dict.fromkeys((fall.name, "oil")):
        sides = _sides(record, fall, name)
        if sides is not None:
            now, before = (quantity(history, value, "liquid rate") for value in (sides.now, sides.before))
            parts.append(f"{sides.name} {now}, {before} before")
    return "; ".join(parts)
