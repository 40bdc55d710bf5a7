"""What a detector hands on: a candidate finding with its evidence."""

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

Priority = Literal["high", "medium", "low"]
PRIORITIES: tuple[Priority, ...] = ("high", "medium", "low")


@dataclass(frozen=True)
class Evidence:
    """One number that speaks for a finding, found beside expected. Values are in SI; pages convert them."""

    name: str
    value: float | None
    unit: str
    """An inside unit of `units.DIMENSIONS` ("m", "kPag", "m3/day", "s", ...), or "" for a count."""
    expected: float | str | None = None
    start: datetime | None = None
    end: datetime | None = None

    def __post_init__(self) -> None:
        """Make what is not a number unknown: a finding is kept as JSON, which has no word for it."""
        for name in ("value", "expected"):
            number = getattr(self, name)
            if isinstance(number, float) and not math.isfinite(number):
                object.__setattr__(self, name, None)


@dataclass(frozen=True)
class Instead:
    """Another explanation that was considered, and why it was put behind."""

    kind: str
    why: str


@dataclass(frozen=True)
class Term:
    """One number that an effect is reckoned from, in an inside unit; pages convert it."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True)
class Effect:
    """What a fault costs while it stands."""

    value: float
    unit: str
    basis: str
    """What it is, a colon, and how it follows from the terms: "water past the shut valve: found less usual"."""
    terms: tuple[Term, ...] = ()
    is_upper_bound: bool = False
    """Whether it is the most that the fault can cost, the rest being unknown."""


@dataclass(frozen=True)
class Candidate:
    """One fault as one night sees it, from the vessel's history up to that night's end."""

    vessel: str
    element: str
    kind: str
    priority: Priority
    confidence: float
    onset: datetime
    last_seen: datetime
    ended: datetime | None
    """Data time at which the fault was over, or None while it stands."""
    summary: str
    severity: float = 0.0
    """Size in the kind's own measure; the ledger says worse or weaker from it."""
    evidence: tuple[Evidence, ...] = ()
    instead: tuple[Instead, ...] = ()
    checks: tuple[str, ...] = ()
    effect: Effect | None = None
    also: tuple[str, ...] = field(default=())
    """Kinds told inside this one as its consequences."""
    settled: bool = False
    """Whether it ended as the new setting, so that the next move is another fault."""
