"""Numbers, times and candidates in words: display units, field time, three figures at most."""

from nightgauge.detect.history import DAY_S, HOUR_S, History
from nightgauge.units import to_display
from nightgauge.vocabulary.findings import Candidate, Effect, Evidence, Instead, Priority
from nightgauge.vocabulary.kinds import KINDS

_DECIMALS = {"in": 1, "psig": 1, "psi": 1, "kPag": 0, "kPa": 0, "mm": 0, "%": 0}
MOST_SURE = 0.97
"""Highest confidence given: no remote reading is proof. House choice."""


def quantity(history: History, value: float, dimension: str) -> str:
    """Return a value with its display unit: levels to 0.1 in, pressures to 0.1 psi, the rest to 3 figures."""
    shown, unit = to_display(value, dimension, history.field.display_units)
    if unit in _DECIMALS:
        return f"{shown:.{_DECIMALS[unit]}f} {unit}"
    return f"{_three_figures(shown)} {unit}"


def _three_figures(value: float) -> str:
    if abs(value) >= 100:
        digits = len(str(int(abs(value))))
        return f"{round(value, 3 - digits):,.0f}"
    return f"{value:.3g}"


def duration(seconds: float) -> str:
    """Return a duration in the unit a person would use.

    Examples
    --------
    >>> duration(5400), duration(9 * 3600), duration(16 * 86400)
    ('90 min', '9 h', '16 days')

    """
    if seconds < 2 * HOUR_S:
        return f"{seconds / 60:.0f} min"
    if seconds < 2 * DAY_S:
        return f"{seconds / HOUR_S:.0f} h"
    return f"{seconds / DAY_S:.0f} days"


def moment(history: History, seconds: float) -> str:
    """Return a time in the field's zone with the weekday: "Fri 15 May 04:10"."""
    local = history.when(seconds).astimezone(history.field.zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def day_of(history: History, seconds: float) -> str:
    """Return a date in the field's zone: "6 May"."""
    local = history.when(seconds).astimezone(history.field.zone)
    return f"{local.day} {local:%b}"


def evidence(
    history: History,
    name: str,
    found: tuple[float | None, str],
    expected: float | str | None,
    span: tuple[float, float],
) -> Evidence:
    """Return one piece of evidence; `found` is the value with its inside unit, `span` its period. [s since 1970]"""
    value, unit = found
    return Evidence(name, value, unit, expected, history.when(span[0]), history.when(span[1]))


class Draft:
    """A candidate in the making: detectors set what they know, `done` adds what the kind declares."""

    def __init__(self, history: History, kind: str, element: str) -> None:
        self.history, self.kind, self.element = history, kind, element
        self.evidence: list[Evidence] = []
        self.instead: list[Instead] = []
        self.also: list[str] = []
        self.effect: Effect | None = None
        self.priority: Priority = "medium"
        self.confidence = 0.5
        self.severity = 0.0
        self.ended_s: float | None = None
        self.settled = False

    def found(self, name: str, value: float | None, unit: str, expected: float | str | None) -> None:
        """Add a number found beside the one expected, over the span set by `over`."""
        begin, end = self._span
        self.evidence.append(evidence(self.history, name, (value, unit), expected, (begin, end)))

    def over(self, begin_s: float, end_s: float) -> None:
        """Set the span of the evidence that follows. [s since 1970]"""
        self._span = (begin_s, end_s)

    def not_because(self, kind: str, why: str) -> None:
        """Add another explanation and why it was put behind."""
        self.instead.append(Instead(kind, why))

    def done(self, summary: str, onset_s: float, last_s: float) -> Candidate:
        """Return the candidate with the checks and cautions of its kind."""
        declared = KINDS[self.kind]
        changed = self.history.limits_set(self.kind)
        note = f" Limits set in field.toml: {', '.join(changed)}." if changed else ""
        until_s = self.history.until_s
        onset = min(onset_s, until_s)
        return Candidate(
            vessel=self.history.vessel.id,
            element=self.element,
            kind=self.kind,
            priority=self.priority,
            confidence=round(min(MOST_SURE, max(0.05, self.confidence)), 3),
            onset=self.history.when(onset),
            last_seen=self.history.when(min(max(last_s, onset), until_s)),
            ended=None if self.ended_s is None else self.history.when(min(max(self.ended_s, onset), until_s)),
            summary=summary + note,
            severity=float(self.severity),
            evidence=tuple(self.evidence),
            instead=tuple(self.instead),
            checks=(*declared.checks, *declared.cautions),
            effect=self.effect,
            also=tuple(self.also),
            settled=self.settled,
        )
