"""The bench still runs, and tells what nights in turn tell; its figures are no test."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import fleets
import numpy as np
import polars as pl
import pytest
from calibrate import BY_RULE, Shown, compared, fit, loss, shown, written
from replaying import Replayed, replay
from worlds import Folder, Simulated

from nightgauge.detect.confidence import read_calibration
from nightgauge.field.calendar import midnights
from nightgauge.field.read import read_field
from nightgauge.pipeline.nights import run_night
from nightgauge.pipeline.reading import read_exports
from nightgauge.store import Store


def clock() -> datetime:
    return datetime.now(UTC)


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fleets")


@pytest.fixture(scope="module")
def replayed(cache: Path) -> Replayed:
    return replay(Simulated(9, 4, 7), cache)


def test_a_replay_in_memory_tells_what_nights_in_turn_tell(make_field: Callable[..., Path], tmp_path: Path) -> None:
    toml = make_field(7, {3: 20000.0})
    (toml.parent / "truth.csv").write_text("vessel,kind,start,end,detail\n")
    field = replace(read_field(toml), database=tmp_path / "nights.duckdb")
    store = Store(field.database)
    read_exports(field, store, clock)
    in_memory = replay(Folder(toml.parent), tmp_path / "cache")
    assert list(in_memory.nights.untils) == midnights(field.zone, in_memory.nights.start, field.as_of)[1:]
    for until in in_memory.nights.untils:
        run_night(field, store, until, clock)
    with store.reading() as reader:
        findings, events = reader.findings(), reader.finding_events()
    assert findings.height > 0
    assert in_memory.findings.sort("id").equals(findings.sort("id"))
    order = ["finding_id", "at_utc", "event", "detail"]
    assert in_memory.events.sort(order).equals(events.sort(order))


def test_a_small_fleet_is_simulated_replayed_and_scored(replayed: Replayed) -> None:
    assert replayed.failed == ()
    assert len(replayed.nights.untils) == 7
    assert len(replayed.score.outcomes) == replayed.truth.height > 0
    assert fleets.summary(replayed, 1.0).startswith("seed9-4x7: 4 vessels, 7 nights")
    assert fleets.story(replayed).count("PLANTED") == replayed.truth.height


def test_what_is_kept_gives_the_same_findings_again(replayed: Replayed, cache: Path) -> None:
    samples = cache / replayed.name / "samples.parquet"
    before = samples.stat().st_mtime_ns
    again = replay(Simulated(9, 4, 7), cache)
    assert samples.stat().st_mtime_ns == before
    assert again.findings.equals(replayed.findings)


def test_a_finding_claims_its_first_night_as_medium_or_high(replayed: Replayed) -> None:
    claims = replayed.first_claims
    told = replayed.nightly.filter(pl.col("priority") != "low")
    assert {c.finding for c in claims} == set(told["id"])
    assert len(claims) == told["id"].n_unique() > 0
    assert len(shown(replayed).right) == len(claims) + len(replayed.score.claims)


@pytest.fixture
def rolled() -> list[Shown]:
    """Three fleets of findings whose rule says 0.5 to 0.95: true at 0.6 times that, one kind never."""
    rng = np.random.default_rng(5)
    rolled = []
    for _ in range(3):
        by_rule = rng.uniform(0.5, 0.95, 600)
        kind = np.where(np.arange(600) % 3 == 0, "data_gap", "dump_leaking")
        share = np.where(kind == "data_gap", 0.0, 0.6 * by_rule)
        rolled.append(Shown(kind, by_rule, (rng.random(600) < share).astype(float)))
    return rolled


@pytest.mark.parametrize("name", ["logistic", "isotonic"])
def test_a_fit_finds_the_shares_that_the_findings_were_drawn_with(name: str, rolled: list[Shown]) -> None:
    calibration = fit(rolled[0] + rolled[1] + rolled[2], name, 2.0)
    # 1,200 findings: a share's standard error is 0.014 over all of them, three times that in a fifth of the range.
    assert [calibration.of("dump_leaking", c) for c in (0.6, 0.75, 0.9)] == pytest.approx([0.36, 0.45, 0.54], abs=0.06)
    assert calibration.of("data_gap", 0.75) < 0.1


def test_maps_are_compared_on_fleets_left_out_and_beat_the_rule(rolled: list[Shown]) -> None:
    scores = compared(rolled)
    by_rule = float(loss(BY_RULE, rolled[0] + rolled[1] + rolled[2]).mean())
    assert len(scores) == 8
    assert max(scores.values()) < by_rule
    assert scores["logistic", 2.0] < scores["logistic", 0.0]  # the kinds differ


def test_what_is_written_is_read_as_it_was(rolled: list[Shown]) -> None:
    calibration = fit(rolled[0], "isotonic", 1.0)
    assert read_calibration(json.loads(written(calibration, {}))) == calibration
