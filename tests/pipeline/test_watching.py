"""Whether the last good night is recent: on the edge, without any, after failures, with a wrong clock."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from nightgauge.errors import NoGoodNight
from nightgauge.field.read import read_field
from nightgauge.pipeline import nights, reading
from nightgauge.pipeline.watching import high_findings, require_recent
from nightgauge.store import Store
from nightgauge.store.frames_io import insert
from nightgauge.vocabulary.frames import NIGHTS

NOW = datetime(2026, 11, 2, 4, 10, tzinfo=UTC)
AGE = timedelta(hours=26)


@pytest.fixture
def with_nights(tmp_path: Path) -> Callable[..., Store]:
    """Return a maker of a database with runs, each a state and how long before now it ended."""

    def make(*runs: tuple[str, timedelta]) -> Store:
        store = Store(tmp_path / "field.duckdb")
        rows = [
            {
                "night_id": number,
                "until_utc": NOW - ago,
                "started_utc": NOW - ago,
                "ended_utc": NOW - ago if state in {"done", "failed"} else None,
                "state": state,
                "detail": "",
            }
            for number, (state, ago) in enumerate(runs, start=1)
        ]
        with store.writing() as writer:
            insert(writer._con, NIGHTS, NIGHTS.build(rows) if rows else NIGHTS.empty())
        return store

    return make


def test_a_night_that_is_exactly_as_old_as_allowed_is_recent(with_nights: Callable[..., Store]) -> None:
    require_recent(with_nights(("done", AGE)), AGE, NOW)


def test_a_night_that_is_older_by_a_moment_is_not(with_nights: Callable[..., Store]) -> None:
    store = with_nights(("done", AGE + timedelta(microseconds=1)))
    with pytest.raises(NoGoodNight, match=r"ended 2026-11-01T02:09\+00:00, more than 1 day, 2:00:00 ago$"):
        require_recent(store, AGE, NOW)


def test_runs_that_did_not_end_well_do_not_count_and_are_told(with_nights: Callable[..., Store]) -> None:
    hour = timedelta(hours=1)
    store = with_nights(("failed", 60 * hour), ("done", 50 * hour), ("failed", 3 * hour), ("killed", 2 * hour),
                        ("running", hour))  # fmt: skip
    with pytest.raises(NoGoodNight, match=r"\(1 failed, 1 killed, 1 running since\)$"):
        require_recent(store, AGE, NOW)


def test_the_latest_good_night_counts_also_where_a_failed_one_follows(with_nights: Callable[..., Store]) -> None:
    require_recent(with_nights(("done", timedelta(hours=5)), ("failed", timedelta(hours=1))), AGE, NOW)


def test_without_any_good_night_there_is_none(with_nights: Callable[..., Store], tmp_path: Path) -> None:
    with pytest.raises(NoGoodNight, match="no night has ended well yet"):
        require_recent(with_nights(), AGE, NOW)
    with pytest.raises(NoGoodNight, match=r"no night has run yet: there is no database .*none\.duckdb"):
        require_recent(Store(tmp_path / "none.duckdb"), AGE, NOW)


def test_a_night_that_ends_far_in_the_future_does_not_silence_the_check(with_nights: Callable[..., Store]) -> None:
    store = with_nights(("done", -AGE - timedelta(minutes=1)))
    with pytest.raises(NoGoodNight, match="a clock is or was wrong"):
        require_recent(store, AGE, NOW)
    require_recent(store, AGE, NOW + timedelta(minutes=2))


def test_high_findings_are_those_that_stand_and_that_nobody_has_marked(make_field: Callable[..., Path]) -> None:
    field = read_field(make_field(5, {4: 20000.0}))
    store = Store(field.database)
    reading.read_exports(field, store, lambda: NOW)
    assert high_findings(store).is_empty()
    nights.run_night(field, store, datetime(2026, 5, 6, tzinfo=UTC), lambda: NOW)
    found = high_findings(store)
    with store.reading() as reader:
        assert set(found["id"]) == {f["id"] for f in reader.findings().to_dicts() if f["priority"] == "high"}
    assert found["kind"].to_list() == ["float_stuck_closed"]
    with store.writing() as writer:
        writer._con.execute('UPDATE finding SET mark = \'{"as": "known"}\'')
    assert high_findings(store).is_empty()
