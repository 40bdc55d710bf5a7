"""Samples are kept for a time, what was derived from them for good."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline import reading
from nightgauge.pipeline.keeping import drop_old_samples
from nightgauge.pipeline.nights import nights_due, run_night
from nightgauge.store import Store

FIRST = datetime(2026, 5, 1, tzinfo=UTC)
DAY = timedelta(days=1)
KEPT_DAYS = 3


def clock() -> datetime:
    return datetime(2026, 11, 1, tzinfo=UTC)


def night(field: Field, until: datetime) -> int:
    """Run a night and drop what is old; return how many samples went."""
    store = Store(field.database)
    reading.read_exports(field, store, clock)
    for due in nights_due(field, store, until):
        run_night(field, store, due, clock)
    return drop_old_samples(field, store)


@pytest.fixture
def field(make_field: Callable[..., Path]) -> Field:
    """Return a field whose last of eight nights has dropped the samples of the first five days."""
    made = replace(read_field(make_field(8, {6: 20000.0})), keep_samples_s=KEPT_DAYS * DAY.total_seconds())
    # Samples end a minute before the night does, so the last day is not over for them: a day more stays.
    assert night(made, FIRST + 8 * DAY) == 4 * 4 * 1440
    return made


def derived(field: Field) -> list[pl.DataFrame]:
    with Store(field.database).reading() as reader:
        of = reader.derived("TK-1", None, FIRST + 30 * DAY)
        return [of.cycles, of.hours, of.days, of.signal_hours, reader.findings(), reader.finding_events()]


def test_the_same_night_again_drops_nothing_more(field: Field) -> None:
    assert night(field, FIRST + 8 * DAY) == 0


def test_what_was_derived_and_found_stays(field: Field) -> None:
    kept_all = replace(field, database=field.folder / "all.duckdb", keep_samples_s=None)
    night(kept_all, FIRST + 8 * DAY)
    for one, other in zip(derived(field), derived(kept_all), strict=True):
        assert one.height > 0
        assert_frame_equal(one, other)


def test_a_changed_setting_derives_again_only_what_still_can_be(field: Field) -> None:
    before = derived(field)[2]
    vessels = tuple(replace(vessel, inside_diameter_m=3.0) for vessel in field.vessels)
    changed = replace(field, vessels=vessels)
    night(changed, FIRST + 8 * DAY)
    after = derived(changed)[2]
    with Store(field.database).reading() as reader:
        first = reader.derivable_from()
        assert reader.changed_ranges().is_empty()
    assert first == FIRST + 6 * DAY  # samples from the fifth day on, and two days that deriving looks back on
    is_old = pl.col("day") < first.date()
    assert_frame_equal(after.filter(is_old), before.filter(is_old))
    assert not after.filter(~is_old).equals(before.filter(~is_old))
    assert after.height == before.height == 8


def test_neither_a_clock_that_runs_ahead_nor_a_stamp_in_the_future_drops_anything(field: Field) -> None:
    store = Store(field.database)
    with store.writing() as writer:
        writer.end_night(writer.begin_night(FIRST + 900 * DAY, clock()), clock(), "done", "the clock was wrong")
    assert drop_old_samples(field, store) == 0
    with store.reading() as reader:
        assert reader.samples_from() == FIRST + 4 * DAY


def test_samples_that_are_owed_to_deriving_wait(field: Field) -> None:
    store = Store(field.database)
    with store.writing() as writer:
        writer.mark_changed("TK-2", FIRST + 7 * DAY, FIRST + 8 * DAY)
    shorter = replace(field, keep_samples_s=DAY.total_seconds())
    assert drop_old_samples(shorter, store) == 0
    night(field, FIRST + 8 * DAY)
    assert drop_old_samples(shorter, store) > 0
