"""The steps of a run: what each took and came to, for the database and for the log."""

import json
import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime

import polars as pl

from nightgauge.errors import NightgaugeError
from nightgauge.pipeline.telling import Clock
from nightgauge.store import Store
from nightgauge.vocabulary.frames import NIGHT_STEPS, TIME

LOGGED = "nightgauge.steps"
"""Name of the log that steps are told to as they begin and end. Who wants to hear of it adds a handler."""

_log = logging.getLogger(LOGGED)


@dataclass
class Step:
    """One step under way; who does it notes what it comes to."""

    name: str
    started: datetime
    took_s: float | None = None
    rows_in: int | None = None
    rows_out: int | None = None
    detail: dict[str, object] = field(default_factory=dict)

    def note(self, rows_in: int | None = None, rows_out: int | None = None, **detail: object) -> None:
        """Note rows, and facts under names of their own; a list of nothing is left out."""
        self.rows_in, self.rows_out = rows_in, rows_out
        self.detail |= {name: fact for name, fact in detail.items() if fact not in ({}, [])}


class Steps:
    """The steps of one night, or of a run around its nights, timed by the clock that is passed in.

    Parameters
    ----------
    clock : Clock
        The time now, in UTC.
    until : datetime, optional
        Of the night whose steps these are; None for steps of the whole run.

    """

    def __init__(self, clock: Clock, until: datetime | None = None) -> None:
        self._clock = clock
        self._of: dict[str, object] = {} if until is None else {"until": until.isoformat()}
        self.done: list[Step] = []

    @contextmanager
    def step(self, name: str) -> Iterator[Step]:
        """Time a step. One that fails is kept too, with what went wrong."""
        step = Step(name, self._clock())
        _tell(f"{name} begins", self._of)
        try:
            yield step
        except Exception as error:
            step.detail["failed"] = f"{type(error).__name__}: {error}"
            raise
        finally:
            step.took_s = (self._clock() - step.started).total_seconds()
            self.done.append(step)
            rows = {"rows_in": step.rows_in, "rows_out": step.rows_out}
            _tell(f"{name} ends", {**self._of, "took_s": step.took_s, **rows, **step.detail})


def _tell(what: str, facts: dict[str, object]) -> None:
    _log.info(what, extra={"facts": facts})


def as_rows(steps: Iterable[Step]) -> pl.DataFrame:
    """Return steps as NIGHT_STEPS, without the numbers that the database gives them."""
    rows = [
        {
            "step": step.name,
            "started_utc": step.started,
            "took_s": step.took_s,
            "rows_in": step.rows_in,
            "rows_out": step.rows_out,
            "detail": json.dumps(step.detail, ensure_ascii=False),
        }
        for step in steps
    ]
    return NIGHT_STEPS.build(pl.DataFrame(rows, schema_overrides={"started_utc": TIME}))


@contextmanager
def kept_step(store: Store, clock: Clock, name: str) -> Iterator[Step]:
    """Time a step that belongs to no night but to the whole run, and keep it at its end.

    One that fails is kept where the database still can be written; its own error goes on.
    """
    steps = Steps(clock)
    try:
        with steps.step(name) as step:
            yield step
    except Exception:
        with suppress(NightgaugeError):
            _keep(store, steps)
        raise
    _keep(store, steps)


def _keep(store: Store, steps: Steps) -> None:
    with store.writing() as writer:
        writer.save_steps(as_rows(steps.done), None)
