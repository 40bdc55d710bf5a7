"""Samples older than they are kept: gone in both homes alike, not taken in again, and nothing else with them."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from nightgauge.store import Store, Writer
from nightgauge.store.keeping import TOO_OLD
from nightgauge.vocabulary.frames import SAMPLES

DAY_MIN = 1440.0
ROWS = [(tag, minute, tag * 1000.0 + minute, "good") for tag in (1, 2, 4) for minute in range(0, 5 * 1440, 60)]


def everything(writer: Writer) -> pl.DataFrame:
    return pl.concat([SAMPLES.empty(), *writer._home.everything()]).sort(SAMPLES.order)


@pytest.fixture(params=["duckdb", "lake"])
def kept(request: pytest.FixtureRequest, store: Store, make: Any, tmp_path: Path) -> Store:
    """Return a database with five days of samples in either home, of which the first two are dropped."""
    with store.writing() as w:
        w.sync_home(make.field(samples=request.param, lake=str(tmp_path / "lake")))
        w.land(make.export("a.csv"), make.parsed(ROWS, tags=["LI-1", "PI-1", "LI-2"], kept_out={"X": 2}), make.read_at)
    with store.writing() as w:
        assert w.drop_samples(make.at(2 * DAY_MIN), make.at(4 * DAY_MIN)) == 2 * 24 * 3
    return store


def test_samples_before_the_time_go_and_the_others_stay(kept: Store, make: Any) -> None:
    with kept.writing() as w:
        expected = pl.concat([make.samples(r for r in ROWS if r[1] >= 2 * DAY_MIN)]).sort("tag_id", "time_utc")
        assert_frame_equal(everything(w).drop("file_id"), expected, check_column_order=False)
        assert w.data_span("V-1") == (make.at(2 * DAY_MIN), make.at(5 * DAY_MIN - 60))


def test_ledger_and_quarantine_stay_as_they_were(kept: Store) -> None:
    with kept.reading() as r:
        assert r.source_files()["rows_stored"].to_list() == [len(ROWS)]
        assert r.quarantine()["tag"].to_list() == ["X"]


def test_what_cannot_be_derived_any_more_is_not_owed(kept: Store, make: Any) -> None:
    with kept.writing() as w:
        assert set(w.changed_ranges()["from_utc"]) == {make.at(4 * DAY_MIN)}
        w.mark_changed("V-1", make.at(0), make.at(60))
        assert w.changed_ranges()["from_utc"].min() == make.at(4 * DAY_MIN)


def test_an_old_export_that_comes_late_is_told_and_not_taken_in(kept: Store, make: Any) -> None:
    late = [(1, minute + 0.5, 1.0, "good") for minute in (0, 60, 2 * DAY_MIN - 1, 2 * DAY_MIN)]
    loser = [(1, 0.5, 2.0, "good")]
    with kept.writing() as w:
        counts = w.land(make.export("late.csv"), make.parsed(late, losers=loser), make.read_at)
        assert (counts.rows_read, counts.rows_stored, counts.rows_quarantined) == (5, 1, 4)
        (told,) = w.quarantine().filter(pl.col("reason") == TOO_OLD).iter_rows(named=True)
    assert (told["tag"], told["rows"]) == ("LI-1", 4)
    assert told["raw_text"].startswith("2026-03-01")


def test_reading_an_old_export_again_does_not_bring_them_back(kept: Store, make: Any) -> None:
    with kept.writing() as w:
        before = everything(w)
        w._con.execute("UPDATE file_tag SET reread_owed = (tag = 'LI-1')")
        mine = [row for row in ROWS if row[0] == 1]
        assert w.land_again(1, make.parsed(mine), make.read_at) == 0
        assert_frame_equal(everything(w), before)
        assert w.quarantine().filter(pl.col("reason") == TOO_OLD)["rows"].to_list() == [2 * 24]


def test_the_room_of_dropped_samples_is_filled_again(store: Store, make: Any) -> None:
    def days(first: int) -> list[tuple[int, float, float, str]]:
        # Values without a pattern, so that they cannot be packed to nothing.
        return [(1, first * DAY_MIN + n / 100, (n * 7919 % 104729) / 104729, "good") for n in range(100_000)]

    for turn in range(6):
        with store.writing() as w:
            w.land(make.export(f"{turn}.csv"), make.parsed(days(turn)), make.read_at)
        if turn == 1:
            size_of_two = store.path.stat().st_size
        with store.writing() as w:
            w.drop_samples(make.at(turn * DAY_MIN), make.at(turn * DAY_MIN))
    assert store.path.stat().st_size < 2 * size_of_two
