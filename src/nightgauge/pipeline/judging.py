"""Judging: each vessel's history up to a night's end, and what could not be judged."""

from datetime import datetime, timedelta

import polars as pl

from nightgauge.detect import History, Judgement, find
from nightgauge.field.settings import Field
from nightgauge.pipeline.telling import Tell, silent
from nightgauge.store import Store
from nightgauge.vocabulary.frames import FIRST_TIME

HISTORY = timedelta(days=120)
"""How far back a night looks. House choice: reference weeks, six weeks of drift and two months to spare. A well's
tests are few and its record is a year of them: they are all given."""


def judge_vessels(
    field_: Field, store: Store, until: datetime, anodes: pl.DataFrame, tell: Tell = silent
) -> tuple[dict[str, Judgement], dict[str, str]]:
    """Return what each vessel's history up to `until` says, and which vessels failed.

    Parameters
    ----------
    anodes : ANODES
        Of all vessels, as of `until`.

    """
    judgements: dict[str, Judgement] = {}
    failed: dict[str, str] = {}
    with store.reading() as reader:
        tests = reader.tests(FIRST_TIME, until)
        for number, vessel in enumerate(field_.vessels, start=1):
            past = reader.derived(vessel.id, until - HISTORY, until)
            history = History(
                vessel, field_, past.cycles, past.hours, past.days, past.signal_hours,
                tests.filter(pl.col("vessel") == vessel.id), until, anodes.filter(pl.col("vessel") == vessel.id),
            )  # fmt: skip
            try:
                judgements[vessel.id] = find(history)
            except Exception as error:  # one vessel's trouble must not cost the others their night
                failed[vessel.id] = f"{type(error).__name__}: {error}"
            tell("judging vessels", number, len(field_.vessels))
    return judgements, failed


def reasons(judgement: Judgement) -> list[str]:
    """Return what could not be judged, one sentence per reason."""
    by_reason: dict[str, list[str]] = {}
    for kind, why in sorted(judgement.unjudged.items()):
        by_reason.setdefault(why, []).append(kind.replace("_", " "))
    return [f"{why}: {', '.join(kinds)}" for why, kinds in sorted(by_reason.items())]
