"""Dumps laid over each other: the level at each second since opening, on the line between samples, gaps left out."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from nightgauge.report.overlay import overlay
from nightgauge.report.valve import ValveView
from nightgauge.vocabulary.frames import DUMP_CYCLES, VESSEL_SAMPLES

INCH_M = 0.0254
START = datetime(2026, 5, 1, tzinfo=UTC)


def test_the_median_of_a_saw_tooth_is_its_straight_line(make_valve_view: Callable[..., ValveView]) -> None:
    view = make_valve_view()
    level = view.samples.filter(pl.col("signal") == "interface_level")
    made = overlay(level, view.reference, view.period, "oilfield")
    assert made is not None
    band = made.specification["datasets"]["band"]
    for seconds, inches in ((0.0, 46.0), (180.0, 44.0), (360.0, 42.0)):
        assert band["mid"][band["t"].index(seconds)] == pytest.approx(inches, abs=0.01)
    assert len(set(made.specification["datasets"]["single"]["dump"])) == 40  # the latest forty of the week's 217


def test_a_gap_in_the_level_is_no_curve() -> None:
    samples = VESSEL_SAMPLES.build({
        "signal": ["interface_level"] * 2, "time_utc": [START, START + timedelta(hours=5)],
        "value": [46 * INCH_M, 42 * INCH_M], "flag": ["good"] * 2, "max_gap_s": [3600.0] * 2,
    })  # fmt: skip
    cycles = DUMP_CYCLES.build({"vessel": ["V"], "opened_utc": [START + timedelta(hours=1)],
                                "shut_utc": [START + timedelta(hours=1, minutes=5)], "drain_s": [300.0]})  # fmt: skip
    assert overlay(samples, cycles.clear(), cycles, "oilfield") is None


def test_without_dumps_or_a_level_there_is_no_overlay(make_valve_view: Callable[..., ValveView]) -> None:
    view = make_valve_view()
    assert overlay(view.samples, view.reference, view.period.clear(), "oilfield") is None
    assert overlay(view.samples.clear(), view.reference, view.period, "oilfield") is None


def test_dumps_without_a_past_are_drawn_alone(make_valve_view: Callable[..., ValveView]) -> None:
    view = make_valve_view()
    level = view.samples.filter(pl.col("signal") == "interface_level")
    made = overlay(level, view.reference.clear(), view.period, "oilfield")
    assert made is not None
    assert made.specification["datasets"]["band"]["t"] == []
    assert made.alternative.endswith("without a reference, as none is known.")
