"""Judging: each vessel's history up to a night's end, and what could not be judged."""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

import polars as pl

from nightgauge.detect import READ, History, Judgement, find
from nightgauge.field.settings import Field, Vessel
from nightgauge.pipeline.groups import ByVessel, in_groups
from nightgauge.pipeline.telling import Tell, silent
from nightgauge.store import Store
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import ANODES, FIRST_TIME, WELL_TESTS

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
    for number, history in enumerate(_histories(field_, store, until, anodes), start=1):
        vessel = history.vessel.id
        try:
            judgements[vessel] = find(history)
        except Exception as error:  # one vessel's trouble must not cost the others their night
            failed[vessel] = f"{type(error).__name__}: {error}"
        tell("judging vessels", number, len(field_.vessels))
    return judgements, failed


def _histories(field_: Field, store: Store, until: datetime, anodes: pl.DataFrame) -> Iterator[History]:
    """Yield the vessels' histories; while those of one group are judged the next group's are read."""
    with store.reading() as reader, ThreadPoolExecutor(1) as ahead:
        tests, anodes_of = ByVessel(WELL_TESTS, reader.tests(FIRST_TIME, until)), ByVessel(ANODES, anodes)

        def read(group: Sequence[Vessel]) -> dict[str, Derived]:
            return reader.derived_of([vessel.id for vessel in group], until - HISTORY, until, READ)

        groups = list(in_groups(field_.vessels))
        waiting = [ahead.submit(read, group) for group in groups[:1]]
        for number, group in enumerate(groups, start=1):
            past = waiting.pop().result()
            waiting += [ahead.submit(read, following) for following in groups[number : number + 1]]
            for vessel in group:
                mine = past.pop(vessel.id)  # its rows need not wait in memory for the other vessels
                yield History(
                    vessel, field_, mine.cycles, mine.hours, mine.days, mine.signal_hours, tests.of(vessel.id), until,
                    anodes_of.of(vessel.id),
                )  # fmt: skip


def reasons(judgement: Judgement) -> list[str]:
    """Return what could not be judged, one sentence per reason."""
    by_reason: dict[str, list[str]] = {}
    for kind, why in sorted(judgement.unjudged.items()):
        by_reason.setdefault(why, []).append(kind.replace("_", " "))
    return [f"{why}: {', '.join(kinds)}" for why, kinds in sorted(by_reason.items())]


def skipped(judgements: Mapping[str, Judgement]) -> dict[str, dict[str, list[str]]]:
    """Return what could not be judged by its reason: kinds and vessels."""
    by_reason: dict[str, dict[str, set[str]]] = {}
    for vessel, judgement in judgements.items():
        for kind, why in judgement.unjudged.items():
            both = by_reason.setdefault(why, {"kinds": set(), "vessels": set()})
            both["kinds"].add(kind)
            both["vessels"].add(vessel)
    return {why: {name: sorted(of) for name, of in both.items()} for why, both in sorted(by_reason.items())}
