"""Each bench runs once, small: that it still runs is the test, its figures are none."""

from pathlib import Path

import deriving
import judging
import lake
import pytest
import reading
import year

pytestmark = pytest.mark.bench


@pytest.mark.parametrize("form", ["long", "wide", "parquet"])
def test_an_export_is_read_and_loaded_by_the_engine_alone(tmp_path: Path, form: str) -> None:
    figures = reading.run(form, 20_000, 1, tmp_path)
    assert figures["ours rows"] == figures["engine rows"] > 0


def test_a_fleet_is_read_and_derived(tmp_path: Path) -> None:
    figures = deriving.run(1, 60, keep=tmp_path)
    assert figures["samples"] > 0


def test_a_small_fleet_is_copied_judged_and_kept(tmp_path: Path) -> None:
    figures = judging.run(5, 3, drawn=2, keep=tmp_path)
    assert figures["vessels"] == 5


def test_a_small_day_is_landed_and_read_in_both_homes() -> None:
    figures = lake.run(2, days=1, period_s=600)
    assert figures["samples_a_day"] == 2 * 10 * 144


def test_nights_of_a_few_copies_are_replayed_killed_and_resumed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(year, "PATTERN_DAYS", 9)
    figures = year.run(4, 9, tmp_path / "field", tmp_path / "pattern", kill_after=8.0)
    assert figures["samples"] > 0
