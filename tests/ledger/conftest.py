"""Nights as sentences: what was seen, what the ledger then says."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.ledger import mark, update
from nightgauge.vocabulary.findings import Candidate
from nightgauge.vocabulary.frames import FINDING_EVENTS, FINDINGS
from nightgauge.vocabulary.kinds import KINDS

START = datetime(2026, 5, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Seen:
    """A judgement as the ledger takes it."""

    candidates: tuple[Candidate, ...] = ()
    judged: frozenset[str] = frozenset(KINDS)


def episode(kind: str = "float_stuck_closed", element: str = "water_dump", begin: float = 0.0,
            end: float | None = None, last: float | None = None, **more: Any) -> Candidate:  # fmt: skip
    """One episode; days since the start."""
    values = {"priority": "high", "confidence": 0.9, "summary": "It has not dumped.", "severity": 1.0} | more
    ended = None if end is None else START + timedelta(days=end)
    seen = ended if last is None and ended is not None else START + timedelta(days=begin + 1 if last is None else last)
    return Candidate("V1", element, kind, onset=START + timedelta(days=begin), last_seen=seen, ended=ended, **values)


@dataclass
class Book:
    """A ledger over nights."""

    findings: pl.DataFrame = field(default_factory=FINDINGS.empty)
    events: pl.DataFrame = field(default_factory=FINDING_EVENTS.empty)

    def night(self, day: float, *seen: Candidate, judged: Iterable[str] = KINDS, first: bool = False) -> "Book":
        """Take one night, which ends `day` days after the start."""
        until = START + timedelta(days=day)
        judgement = {"V1": Seen(tuple(seen), frozenset(judged))}
        self.findings, told = update(self.findings, self.events, judgement, until, is_first_night=first)
        self.events = pl.concat([self.events, told])
        return self

    def mark(self, as_: str, day: float) -> None:
        """Mark the only finding."""
        text, _ = mark(self.one, as_, None, None, START + timedelta(days=day))
        self.findings = self.findings.with_columns(pl.lit(text).alias("mark"))

    @property
    def one(self) -> dict[str, Any]:
        """Return the only finding."""
        (row,) = self.findings.to_dicts()
        return row

    @property
    def told(self) -> list[str]:
        """Return the events so far."""
        return self.events["event"].to_list()


@pytest.fixture
def book() -> Book:
    """Return an empty ledger."""
    return Book()


@pytest.fixture
def seen() -> Callable[..., Candidate]:
    """Return the maker of episodes."""
    return episode
