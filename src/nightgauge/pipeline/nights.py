"""Nights: which are due, and one of them from changed samples to kept findings."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime

import polars as pl

from nightgauge import ledger
from nightgauge.detect import Judgement
from nightgauge.errors import SettingError
from nightgauge.field.calendar import day_bounds, midnights
from nightgauge.field.settings import Field
from nightgauge.pipeline.deriving import derive_changed
from nightgauge.pipeline.handing import HandOut
from nightgauge.pipeline.judging import judge_vessels, skipped
from nightgauge.pipeline.reckoning import Reckoned, reckon
from nightgauge.pipeline.steps import Steps, as_rows
from nightgauge.pipeline.telling import Clock, Tell, silent
from nightgauge.store import Store
from nightgauge.vocabulary.frames import VESSEL_CAPACITY


@dataclass(frozen=True)
class NightReport:
    """What one night did."""

    until: datetime
    derived: int = 0
    """Vessels with rows derived anew."""
    failed: Mapping[str, str] = field(default_factory=dict)
    """Vessel id to what went wrong; the other vessels were done."""
    events: Mapping[str, int] = field(default_factory=dict)
    """What happened to findings: event to how often."""
    standing: int = 0

    @property
    def detail(self) -> str:
        """Return the night in one line."""
        happened = ", ".join(f"{count} {event}" for event, count in sorted(self.events.items())) or "nothing new"
        failed = "".join(f"; {vessel} failed: {why}" for vessel, why in self.failed.items())
        return f"{self.derived} vessels derived, {self.standing} findings stand, {happened}{failed}"


def nights_due(field_: Field, store: Store, until: datetime) -> list[datetime]:
    """Return the nights to run, in turn, so that the last one judges up to `until`.

    A field's first night judges once. Later, each missed midnight is a night of its own. The last night is
    due again where samples before its end came late or were corrected.

    Raises
    ------
    SettingError
        If `until` lies before a night that has judged already.

    """
    with store.reading() as reader:
        last = reader.last_night()
        owed = reader.changed_ranges()
    if last is None:
        return [until]
    if until < last:
        raise SettingError(
            f"the night up to {until.isoformat()} lies before the last one, up to {last.isoformat()}; "
            "to see an earlier night as of then, replay it into a database of its own: "
            f"uv run flows/replay.py {field_.path} --from D --to D --into FILE"
        )
    if until == last:
        return [until] if len(owed.filter(pl.col("from_utc") < until)) else []
    between = [midnight for midnight in midnights(field_.zone, last, until) if last < midnight < until]
    return [*between, until]


def nights_between(field_: Field, first: date, last: date) -> list[datetime]:
    """Return the nights of the dates from first to last: each judges data before its date's midnight."""
    return midnights(field_.zone, day_bounds(field_.zone, first)[0], day_bounds(field_.zone, last)[0])


def run_night(
    field_: Field, store: Store, until: datetime, clock: Clock, tell: Tell = silent, hand_out: HandOut | None = None
) -> NightReport:
    """Derive what changed before `until`, judge every vessel, and keep the findings together with the night's end.

    Vessels are derived here, or wherever `hand_out` has it done.
    """
    with store.writing() as writer:
        writer.close_killed_nights()
        previous = writer.last_night()
        night_id = writer.begin_night(until, clock())
    steps = Steps(clock, until)
    try:
        with steps.step("deriving") as step:
            derived = derive_changed(field_, store, previous, until, tell, hand_out)
            step.note(derived.samples, derived.rows, vessels=derived.vessels, failed_vessels=derived.failed)
        with steps.step("reckoning") as step:
            reckoned = reckon(field_, store, _unchanged_before(store, previous), until, tell)
            step.note(None, reckoned.rows, failed_vessels=reckoned.failed)
        with steps.step("judging") as step:
            judgements, not_judged = judge_vessels(field_, store, until, reckoned.anodes, tell)
            told = sum(len(judgement.candidates) for judgement in judgements.values())
            step.note(None, told, vessels=len(judgements), skipped=skipped(judgements), failed_vessels=not_judged)
        night = _Night(night_id, previous, reckoned, judgements)
        failed = {**derived.failed, **reckoned.failed, **not_judged}
        return _settle(store, night, NightReport(until, derived.vessels, failed), clock, steps)
    except Exception as error:
        with store.writing() as writer:
            writer.end_night(night_id, clock(), "failed", f"{type(error).__name__}: {error}")
            writer.save_steps(as_rows(steps.done), night_id)
        raise


def _unchanged_before(store: Store, previous: datetime | None) -> datetime | None:
    """Return the time before which nothing has changed since the tables were reckoned; None where they never were.

    What was derived by a night that was killed before it reckoned counts.
    """
    with store.reading() as reader:
        if previous is None or reader.reckoned(VESSEL_CAPACITY).is_empty():
            return None
        owed = reader.reckoning_owed_from()
    return previous if owed is None else min(previous, owed)


@dataclass(frozen=True)
class _Night:
    """What a night has come to before it is kept."""

    night_id: int
    previous: datetime | None
    reckoned: Reckoned
    judgements: Mapping[str, Judgement]


def _settle(store: Store, night: _Night, report: NightReport, clock: Clock, steps: Steps) -> NightReport:
    with store.writing() as writer:
        with steps.step("keeping") as step:
            findings, events = ledger.update(
                writer.findings(), writer.finding_events(), night.judgements, report.until,
                is_first_night=night.previous is None,
            )  # fmt: skip
            happened = dict(events.group_by("event").len().sort("event").iter_rows())
            standing = int(findings["state"].is_in(["new", "standing"]).sum())
            report = replace(report, events=happened, standing=standing)
            night.reckoned.save(writer)
            writer.reckoned_all()
            writer.save_findings(findings, events)
            step.note(sum(len(j.candidates) for j in night.judgements.values()), events.height, events=happened)
        writer.save_steps(as_rows(steps.done), night.night_id)
        writer.end_night(night.night_id, clock(), "done", report.detail)
    return report
