"""One night's judgements taken into the ledger: what is new, goes on, is over, came back or never was."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import datetime, timedelta
from math import isfinite
from typing import Any, Protocol

import polars as pl

from nightgauge.ledger.episodes import ONE_FAULT, RETURN, Fault, family, faults_of, moved_place, refines
from nightgauge.ledger.marks import mark_of
from nightgauge.vocabulary.findings import PRIORITIES, Candidate, Instead
from nightgauge.vocabulary.frames import FINDING_EVENTS, FINDINGS
from nightgauge.vocabulary.kinds import KINDS

NEW_FOR = timedelta(days=7)
"""A finding is new for this long after it was first told. Fixed by the project's format page."""
QUIET_NIGHTS = 2
"""Judged nights without it before a finding is cleared: one quiet night may be chance. House choice."""
FIRST_NIGHT_LOOKS_BACK = timedelta(days=28)
"""How old a fault that is over may be to be told on a field's first night. Fixed by the project's design page."""
LATE_NOTICE = timedelta(days=3)
"""How long ago a fault that is over may have ended to be told for the first time on an ordinary night. House choice:
a weekend's late data; older ones would have been told when they stood, so they are an artefact of a longer view."""
NEVER_WAS_BELOW = 0.8
"""Confidence below which a young finding that history no longer shows is withdrawn, not cleared. House choice."""
WORSE_BY = 1.5
"""Growth of the severity that is told as worse. House choice: beyond a night's scatter."""
_SURE, _LIKELY = 0.9, 0.7
"""The words of a confidence change at these. Fixed by the project's page style."""

_SETTLED_WORDS = "taken as the new setting"
"""How a detector ends the summary of a step that was learned, and how the ledger says so. Fixed by the format page."""

Row = dict[str, Any]


class Judged(Protocol):
    """What the ledger needs of a night's judgement of one vessel."""

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """Return the episodes seen."""

    @property
    def judged(self) -> frozenset[str]:
        """Return the kinds that could be judged."""


class _Night:
    """One night in progress: rows by id, and the events so far."""

    def __init__(self, rows: Sequence[Row], until: datetime, *, is_first_night: bool) -> None:
        self.rows: dict[str, Row] = {row["id"]: row for row in rows}
        self.until, self.is_first_night = until, is_first_night
        self.events: list[Row] = []

    def tell(self, row: Row, event: str, detail: str) -> None:
        self.events.append({"finding_id": row["id"], "at_utc": self.until, "event": event, "detail": detail})


def update(
    findings: pl.DataFrame,
    events: pl.DataFrame,
    judgements: Mapping[str, Judged],
    until: datetime,
    *,
    is_first_night: bool = False,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the finding table after this night and the night's new events.

    Parameters
    ----------
    findings, events : polars.DataFrame
        FINDINGS and FINDING_EVENTS before the night.
    judgements : mapping
        Vessel id to that night's judgement. A vessel that is missing was not judged: its findings stay as they are.
    until : datetime
        End of the night; becomes `first_reported` of what is told now.
    is_first_night : bool
        Whether this is the field's first: it also tells faults that ended within the last 28 days.

    """
    night = _Night(findings.to_dicts(), until, is_first_night=is_first_night)
    for vessel in sorted(judgements):
        _vessel(night, vessel, judgements[vessel])
    for row in night.rows.values():
        if row["state"] == "new" and until - row["first_reported"] >= NEW_FOR:
            row["state"] = "standing"
    built = FINDINGS.build(pl.DataFrame(list(night.rows.values()), schema=FINDINGS.schema))
    told = FINDING_EVENTS.build(pl.DataFrame(night.events, schema=FINDING_EVENTS.schema))
    return built, told


def _vessel(night: _Night, vessel: str, judgement: Judged) -> None:
    rows = [row for row in night.rows.values() if row["vessel"] == vessel and row["state"] != "withdrawn"]
    matched: dict[str, Fault] = {}
    unmatched: list[Fault] = []
    for fault in faults_of(judgement.candidates):
        row = _row_of(rows, fault, matched)
        if row is None:
            unmatched.append(fault)
        else:
            matched[row["id"]] = fault
    for fault in list(unmatched):
        refined = _refined_row(rows, fault, matched) or _moved_row(rows, fault, matched)
        if refined is not None:
            matched[refined["id"]] = fault
            unmatched.remove(fault)
    for row in rows:
        if row["id"] in matched:
            _seen(night, row, matched[row["id"]])
        else:
            _not_seen(night, row, judgement)
    for fault in unmatched:
        doubted = _withdrawn_row(night, vessel, fault)
        if doubted is None:
            _report(night, vessel, fault)
        else:
            _believe_again(night, doubted, fault.candidate)


def _row_of(rows: Sequence[Row], fault: Fault, matched: Mapping[str, Fault]) -> Row | None:
    """Return the finding that this fault continues: same element and family, apart by at most 14 days."""
    near = [
        row
        for row in rows
        if row["id"] not in matched
        and row["element"] == fault.candidate.element
        and family(row["kind"]) == family(fault.candidate.kind)
        and fault.first_onset - _end(row) <= RETURN
        and row["onset"] - fault.end <= RETURN
        and not (_is_settled(row) and fault.candidate.onset >= _end(row) - NEW_FOR / 2)
    ]
    return min(
        near, key=lambda row: (_apart(row, fault), abs(row["onset"] - fault.first_onset), row["id"]), default=None
    )


def _apart(row: Row, fault: Fault) -> timedelta:
    """Return the time between a finding and a fault, zero where they overlap."""
    onset: datetime = row["onset"]
    return max(fault.first_onset - _end(row), onset - fault.end, timedelta(0))


def _is_settled(row: Row) -> bool:
    """Return whether a finding was cleared as the new setting: then the next move is another finding."""
    return row["state"] == "cleared" and _SETTLED_WORDS in row["summary"]


def _refined_row(rows: Sequence[Row], fault: Fault, matched: Mapping[str, Fault]) -> Row | None:
    """Return an open finding on the same element whose kind is now told inside this fault: its kind is refined."""
    near = [
        row
        for row in rows
        if row["id"] not in matched
        and row["element"] == fault.candidate.element
        and row["state"] != "cleared"
        and (row["kind"] in fault.candidate.also or refines(row["kind"], fault.candidate.kind, row["element"]))
        and fault.candidate.onset <= row["last_seen"]
    ]
    return max(near, key=lambda row: (row["last_seen"], row["id"]), default=None)


def _moved_row(rows: Sequence[Row], fault: Fault, matched: Mapping[str, Fault]) -> Row | None:
    """Return an open finding that told the same move of another part: its element is refined."""
    place = moved_place(fault.candidate.element, fault.candidate.kind)
    near = [
        row
        for row in rows
        if row["id"] not in matched
        and place is not None
        and moved_place(row["element"], row["kind"]) == place
        and row["state"] != "cleared"
        and fault.candidate.onset <= row["last_seen"]
        and row["onset"] <= fault.end
    ]
    return max(near, key=lambda row: (row["last_seen"], row["id"]), default=None)


def _withdrawn_row(night: _Night, vessel: str, fault: Fault) -> Row | None:
    """Return a finding that was withdrawn and is now seen again after all: it keeps its id and does not flap."""
    near = [
        row
        for row in night.rows.values()
        if row["vessel"] == vessel
        and row["state"] == "withdrawn"
        and row["element"] == fault.candidate.element
        and family(row["kind"]) == family(fault.candidate.kind)
        and abs(row["onset"] - fault.candidate.onset) <= ONE_FAULT
    ]
    return min(near, key=lambda row: (abs(row["onset"] - fault.candidate.onset), row["id"]), default=None)


def _believe_again(night: _Night, row: Row, candidate: Candidate) -> None:
    if candidate.ended is not None and night.until - candidate.ended > LATE_NOTICE:
        return
    row["state"] = "new" if night.until - row["first_reported"] < NEW_FOR else "standing"
    row["cleared_at"], row["quiet_nights"] = None, int(candidate.ended is not None)
    _write(row, candidate, night.until)
    night.tell(row, "returned", f"seen again after it was withdrawn: {row['summary']}")


def _end(row: Row) -> datetime:
    end: datetime = row["cleared_at"] or row["last_seen"]
    return end


def _report(night: _Night, vessel: str, fault: Fault) -> None:
    """Enter a fault that the ledger does not know."""
    candidate = fault.candidate
    if candidate.ended is not None:
        oldest = FIRST_NIGHT_LOOKS_BACK if night.is_first_night else LATE_NOTICE
        if night.until - candidate.ended > oldest:
            return
    row: Row = dict.fromkeys(FINDINGS.schema)
    row |= {"id": _new_id(night, candidate), "vessel": vessel, "first_reported": night.until, "state": "new"}
    row["severity"], row["quiet_nights"] = candidate.severity, 0
    night.rows[row["id"]] = row
    _write(row, _remember_wrong(night, candidate), night.until)
    night.tell(row, "reported", row["summary"])
    if candidate.ended is not None:
        row["quiet_nights"] = 1
        if night.is_first_night or night.until - candidate.ended >= timedelta(days=QUIET_NIGHTS):
            _clear(night, row, candidate.ended, "it was over before it was told")


def _new_id(night: _Night, candidate: Candidate) -> str:
    """Return an id that says where and when, and is free."""
    element = candidate.element.replace("instrument:", "").replace(":", "-").replace("_", "-")
    base = f"{candidate.vessel}.{element}.{candidate.onset:%Y%m%d}"
    taken = {i for i in night.rows if i == base or i.startswith(f"{base}.")}
    return base if not taken else f"{base}.{len(taken) + 1}"


def _remember_wrong(night: _Night, candidate: Candidate) -> Candidate:
    """Put a candidate back whose kind was marked wrong on this vessel before: told, but low, and saying so."""
    for row in night.rows.values():
        marked = mark_of(row)
        same = (row["vessel"], row["element"], row["kind"]) == (candidate.vessel, candidate.element, candidate.kind)
        if same and marked.get("as") == "wrong":
            why = f"this kind was marked wrong here on {marked['at'][:10]} ({row['id']})"
            return replace(
                candidate,
                priority="low",
                confidence=min(candidate.confidence, 0.5),
                instead=(Instead("marked wrong before", why), *candidate.instead),
            )
    return candidate


def _write(row: Row, candidate: Candidate, until: datetime) -> None:
    """Take tonight's view of a fault into its row."""
    row |= {
        "element": candidate.element,
        "kind": candidate.kind,
        "failure_mode": KINDS[candidate.kind].failure_mode,
        "priority": candidate.priority,
        "confidence": candidate.confidence,
        "onset": candidate.onset,
        "last_seen": candidate.last_seen,
        "summary": candidate.summary,
        "evidence": _json(
            [
                {"name": e.name, "value": e.value, "unit": e.unit, "expected": e.expected,
                 "from": _iso(e.start), "to": _iso(e.end)}
                for e in candidate.evidence
            ]
        ),
        "instead": _json([asdict(i) for i in candidate.instead]),
        "checks": _json(list(candidate.checks)),
        "effect": _json(asdict(candidate.effect)) if candidate.effect and isfinite(candidate.effect.value) else None,
        "also": _json(list(candidate.also)),
        "last_night": until,
    }  # fmt: skip


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat()


def _seen(night: _Night, row: Row, fault: Fault) -> None:
    """Go on with a finding that tonight's history shows, standing or over."""
    candidate = _remember_wrong_of_row(row, fault.candidate)
    counts = _is_another_night(row, night)
    if candidate.ended is not None and row["state"] == "cleared":
        # Nothing new: the same past, seen once more. A better estimate of it is still taken in, silently.
        is_new_episode = row["cleared_at"] is not None and candidate.onset > row["cleared_at"] + timedelta(hours=1)
        if not is_new_episode:
            row["last_night"] = night.until
            return
    if row["state"] == "cleared":
        row["state"] = "new" if night.until - row["first_reported"] < NEW_FOR else "standing"
        row["cleared_at"], row["quiet_nights"] = None, 0
        _write(row, candidate, night.until)
        night.tell(row, "returned", _returned_words(row))
    else:
        _tell_change(night, row, candidate)
        _write(row, candidate, night.until)
    if candidate.ended is None:
        row["quiet_nights"], row["cleared_at"] = 0, None
        return
    row["quiet_nights"] = (row["quiet_nights"] or 0) + counts
    if row["quiet_nights"] >= QUIET_NIGHTS:
        _clear(night, row, candidate.ended, _over_words(row, candidate))


def _is_another_night(row: Row, night: _Night) -> bool:
    """Return whether this night has not touched the finding yet; judged once more for late samples, it is still one."""
    return row["last_night"] is None or bool(row["last_night"] < night.until)


def _remember_wrong_of_row(row: Row, candidate: Candidate) -> Candidate:
    """Keep a finding marked wrong from rising again by itself: it stays told, and low."""
    return replace(candidate, priority="low") if mark_of(row).get("as") == "wrong" else candidate


def _returned_words(row: Row) -> str:
    marked = mark_of(row)
    if marked.get("as") == "fixed":
        return f"marked fixed on {marked['at'][:10]}, but seen again: {row['summary']}"
    return f"came back: {row['summary']}"


def _over_words(row: Row, candidate: Candidate) -> str:
    if candidate.settled:
        return _SETTLED_WORDS
    if mark_of(row).get("as") == "fixed":
        return "marked fixed, and gone since: the repair has held"
    return "over, and quiet since"


def _tell_change(night: _Night, row: Row, candidate: Candidate) -> None:
    """Tell what became surer, weaker or worse since it was last told."""
    before, after = _word(row["confidence"]), _word(candidate.confidence)
    if after != before:
        event = "surer" if candidate.confidence > row["confidence"] else "weaker"
        night.tell(row, event, f"{before} before, {after} now")
    grew = candidate.severity > WORSE_BY * row["severity"] > 0
    rose = PRIORITIES.index(candidate.priority) < PRIORITIES.index(row["priority"])
    if (grew or rose) and candidate.ended is None:
        night.tell(row, "worse", candidate.summary)
        row["severity"] = candidate.severity
    if row["kind"] != candidate.kind:
        night.tell(row, "surer", f"first told as {row['kind']}, now known as {candidate.kind}")


def _word(confidence: float) -> str:
    if confidence >= _SURE:
        return "sure"
    return "likely" if confidence >= _LIKELY else "possible"


def _not_seen(night: _Night, row: Row, judgement: Judged) -> None:
    """Go on with a finding that tonight's history does not show."""
    if row["state"] == "cleared" or row["kind"] not in judgement.judged:
        return
    row["quiet_nights"] = (row["quiet_nights"] or 0) + _is_another_night(row, night)
    row["last_night"] = night.until
    if row["quiet_nights"] < QUIET_NIGHTS:
        return
    inside = next((c for c in judgement.candidates if row["kind"] in c.also and c.onset <= row["last_seen"]), None)
    if inside is not None:
        _clear(night, row, row["last_seen"], f"told inside another finding: {inside.kind} on {inside.element}")
    elif row["confidence"] < NEVER_WAS_BELOW and night.until - row["first_reported"] < NEW_FOR:
        row["state"], row["cleared_at"] = "withdrawn", None
        night.tell(row, "withdrawn", "with more data the evidence is gone: it never was")
    else:
        _clear(night, row, row["last_seen"], "not seen any more")


def _clear(night: _Night, row: Row, ended: datetime, why: str) -> None:
    row["state"], row["cleared_at"] = "cleared", ended
    night.tell(row, "cleared", why)
