"""Which finding found which fault.

A finding finds a fault on its vessel if it is medium or high (for setpoint steps: any priority), was not
withdrawn, and its span from onset to last seen touches the fault's, widened by a day before and two after,
with its onset at most four days before the fault's start. Each finding counts once. What is left of medium and
high findings is false, and so are those withdrawn.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from typing import Any

import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.score.reliability import Claim
from nightgauge.score.result import Outcome, Score
from nightgauge.score.seen import Seen
from nightgauge.score.truth import Known, instant, known_faults

BEFORE, AFTER, EARLY = timedelta(days=1), timedelta(days=2), timedelta(days=4)
"""Fixed by the bench's definition."""
_COUNTING = ("medium", "high")
_DAY_S = 86400.0


@dataclass(frozen=True)
class _Told:
    """One finding, as far as the score needs it."""

    id: str
    vessel: str
    kind: str
    priority: str
    is_withdrawn: bool
    onset: datetime
    first_reported: datetime
    last_seen: datetime
    confidence: float | None


def score(findings: Iterable[Mapping[str, Any]], truth: pl.DataFrame, seen: Seen | None = None) -> Score:
    """Return how a field's findings stand against its known faults.

    Parameters
    ----------
    findings : iterable of mapping
        Findings with the keys of the findings format, withdrawn ones too; times as ISO 8601 or datetime.
    truth : DataFrame
        Columns of truth.csv.
    seen : Seen, optional
        The fleet. Without it no fault is known to be showable and false findings have no rate.

    Returns
    -------
    Score
        Outcomes in the order of the truth, false findings in the order given.

    Raises
    ------
    SettingError
        If a stamp of the truth is not right.
    ProgrammerError
        If a finding lacks a time.

    """
    told = [_told(finding) for finding in findings]
    faults = [f for f in known_faults(truth) if seen is None or f.start < seen.until]
    pairs = match(faults, [t for t in told if not t.is_withdrawn])
    by_id = {t.id: t for t in told}
    outcomes = tuple(_outcome(fault, by_id.get(pairs.get(number, "")), seen) for number, fault in enumerate(faults))
    used = set(pairs.values())
    false = tuple((t.id, t.vessel, t.kind) for t in told if t.priority in _COUNTING and t.id not in used)
    right = {o.finding for o in outcomes if o.is_named_right}
    claims = tuple(
        Claim(t.id, t.kind, t.confidence, t.id in right)
        for t in told
        if t.priority in _COUNTING and t.confidence is not None
    )
    return Score(outcomes, false, None if seen is None else seen.vessel_weeks, claims)


def _told(finding: Mapping[str, Any]) -> _Told:
    times = {name: instant(finding[name], f"finding {finding['id']}, {name}") for name in _TIMES}
    onset, reported, last = (times[name] for name in _TIMES)
    if onset is None or reported is None or last is None:
        raise ProgrammerError(f"finding {finding['id']}: onset, first_reported and last_seen are all needed")
    return _Told(
        str(finding["id"]), str(finding["vessel"]), str(finding["kind"]), str(finding["priority"]),
        finding["state"] == "withdrawn", onset, reported, last, finding.get("confidence"),
    )  # fmt: skip


_TIMES = ("onset", "first_reported", "last_seen")


def match(faults: Sequence[Known], told: Sequence[_Told]) -> dict[int, str]:
    """Return fault number to finding id: as many as can be, rightly named ones first, then nearest onset."""
    right = {n: _candidates(f, told, named=True) for n, f in enumerate(faults)}
    touching = {n: [*right[n], *_candidates(f, told, named=False)] for n, f in enumerate(faults)}
    owner: dict[str, int] = {}
    for edges in (right, touching):
        for number in range(len(faults)):
            if number not in owner.values():
                _augment(number, edges, owner, set())
    return {number: finding for finding, number in owner.items()}


def _augment(number: int, edges: Mapping[int, list[str]], owner: dict[str, int], tried: set[str]) -> bool:
    """Give a fault a finding, moving other faults to another of theirs where that helps."""
    for finding in edges[number]:
        if finding in tried:
            continue
        tried.add(finding)
        if finding not in owner or _augment(owner[finding], edges, owner, tried):
            owner[finding] = number
            return True
    return False


def _candidates(fault: Known, told: Sequence[_Told], *, named: bool) -> list[str]:
    fitting = [t for t in told if _finds(t, fault) and (t.kind in fault.kinds) == named]
    return [t.id for t in sorted(fitting, key=lambda t: abs(t.onset - fault.start))]


def _finds(told: _Told, fault: Known) -> bool:
    counts = told.priority in _COUNTING or fault.kinds[0].endswith("_setpoint_step")
    ends_early = fault.end is not None and told.onset > fault.end + AFTER
    touches = told.last_seen >= fault.start - BEFORE and not ends_early
    return told.vessel == fault.vessel and counts and touches and told.onset >= fault.start - EARLY


def _outcome(fault: Known, told: _Told | None, seen: Seen | None) -> Outcome:
    shown = None if seen is None else seen.shows(fault)
    due = None if seen is None else seen.due(fault)
    if told is None:
        return Outcome(fault.vessel, fault.kinds, fault.start, fault.end, shown, due)
    return Outcome(
        fault.vessel, fault.kinds, fault.start, fault.end, shown, due,
        finding=told.id,
        told_as=told.kind,
        first_reported=told.first_reported,
        nights=ceil((told.first_reported - fault.start).total_seconds() / _DAY_S),
        onset_error_days=(told.onset - fault.start).total_seconds() / _DAY_S,
    )  # fmt: skip
