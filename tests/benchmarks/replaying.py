"""Nights in turn over cached frames: what each vessel would have been told, without exports, database or flow."""

import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import frames
import polars as pl
from frames import Nights
from worlds import World

from nightgauge import ledger
from nightgauge.detect import History, Judgement, find
from nightgauge.field.settings import Field
from nightgauge.score import FIRST_WEEKS, Claim, Score, read_truth, score, seen_of
from nightgauge.vocabulary.frames import DUMP_CYCLES, FINDING_EVENTS, FINDINGS

Judge = Callable[[History], Judgement]

_NIGHTLY = ("id", "vessel", "element", "kind", "priority", "confidence", "state", "last_night")


@dataclass(frozen=True)
class Replayed:
    """What one fleet was told over its nights."""

    name: str
    field: Field
    nights: Nights
    truth: pl.DataFrame
    findings: pl.DataFrame
    """FINDINGS after the last night."""
    events: pl.DataFrame
    """FINDING_EVENTS of all nights."""
    nightly: pl.DataFrame
    """Each finding on each night on which it was seen, with its confidence then."""
    cycles: pl.DataFrame
    """DUMP_CYCLES of the first weeks."""
    failed: tuple[str, ...]
    """Vessel, night and what went wrong; such a night judged nothing."""

    @property
    def score(self) -> Score:
        """Return how the findings stand against the fleet's known faults."""
        seen = seen_of(self.field, self.nights.start, self.nights.untils[-1], self.cycles)
        return score(self.findings.to_dicts(), self.truth, seen)

    @property
    def first_claims(self) -> list[Claim]:
        """Return how sure each finding was on the first night on which it was medium or high.

        It was right if it found a fault in the end and was named right then.
        """
        kinds = {o.finding: o.kinds for o in self.score.outcomes if o.finding is not None}
        counting = self.nightly.filter(pl.col("priority").is_in(["medium", "high"])).sort("id", "last_night")
        first = counting.unique("id", keep="first", maintain_order=True)
        return [
            Claim(row["id"], row["kind"], row["confidence"], row["kind"] in kinds.get(row["id"], ()))
            for row in first.iter_rows(named=True)
        ]


@dataclass(frozen=True)
class _Vessel:
    """One vessel's share of a replay."""

    findings: pl.DataFrame
    events: pl.DataFrame
    nightly: pl.DataFrame
    cycles: pl.DataFrame
    failed: tuple[str, ...]


def replay(world: World, cache: Path, jobs: int = 1, judge: Judge = find) -> Replayed:
    """Return what a fleet would have been told, night by night; derives what the cache does not hold yet."""
    home = cache / world.name
    field = world.lay(home)
    nights = frames.nights_of(field, *world.span(home, field))
    one = partial(_vessel, world, home, field, nights, judge)
    parts = [part for part in each(one, range(len(field.vessels)), jobs) if part is not None]
    return Replayed(
        world.name,
        field,
        nights,
        read_truth(home / "truth.csv"),
        FINDINGS.build(pl.concat([FINDINGS.empty(), *(p.findings for p in parts)])),
        FINDING_EVENTS.build(pl.concat([FINDING_EVENTS.empty(), *(p.events for p in parts)])),
        pl.concat([FINDINGS.empty().select(_NIGHTLY), *(p.nightly for p in parts)]),
        pl.concat([DUMP_CYCLES.empty(), *(p.cycles for p in parts)]),
        tuple(line for p in parts for line in p.failed),
    )


def each(work: Callable[[int], _Vessel | None], numbers: Iterable[int], jobs: int) -> list[_Vessel | None]:
    """Return the work on each number, in their order, by so many processes."""
    if jobs == 1:
        return [work(number) for number in numbers]
    # Threads of Polars do not survive a fork.
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        return list(pool.map(work, numbers))


def _vessel(world: World, home: Path, field: Field, nights: Nights, judge: Judge, place: int) -> _Vessel | None:
    folder = home / "derived"
    folder.mkdir(exist_ok=True)
    if not frames.is_saved(folder, place):
        vessel = field.vessels[place]
        samples = world.samples(home, field, vessel.id)
        frames.save(frames.derive_nights(field, vessel, samples, nights), folder, place)
    return replay_vessel(field, place, frames.load(folder, place), nights, judge)


def replay_vessel(field: Field, place: int, derived: frames.Derived, nights: Nights, judge: Judge) -> _Vessel:
    """Return what one vessel would have been told, as `pipeline.judging` and the ledger do it."""
    vessel = field.vessels[place]
    findings, events = FINDINGS.empty(), FINDING_EVENTS.empty()
    nightly, failed = [FINDINGS.empty().select(_NIGHTLY)], []
    for number, until in enumerate(nights.untils):
        past = frames.as_of(derived, field, nights, number)
        history = History(vessel, field, past.cycles, past.hours, past.days, past.signal_hours, past.tests, until)
        try:
            judgements = {vessel.id: judge(history)}
        except Exception as error:  # as in a night: told, and the next night goes on
            failed.append(f"{vessel.id} {until:%Y-%m-%d}: {type(error).__name__}: {error}")
            judgements = {}
        findings, new = ledger.update(findings, events, judgements, until, is_first_night=number == 0)
        events = pl.concat([events, new])
        nightly.append(findings.filter(pl.col("last_night") == until).select(_NIGHTLY))
    first = frames.final(derived).cycles.filter(pl.col("opened_utc") < nights.start + FIRST_WEEKS)
    return _Vessel(findings, events, pl.concat(nightly), first, tuple(failed))


def say(text: str) -> None:
    """Print at once, also into a file."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()
