"""What routing.csv says of wells that came and went before a load step."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from nightgauge.detect import size
from nightgauge.detect.routing import turned
from nightgauge.field.settings import Routing, Well


@pytest.fixture
def routed(past):
    """Return a maker of histories with lines of (day, well, vessel); well W1 normally flows to V1."""
    history = past(days=28).history()
    start = history.until - timedelta(days=28)

    def make(*lines, of=history):
        routings = tuple(Routing(start + timedelta(days=day), well, vessel) for day, well, vessel in lines)
        return replace(of, field=replace(of.field, routings=routings, wells=(Well("W1", "V1"),)))

    return make


def onset(history, day):
    return (history.until - timedelta(days=28 - day)).timestamp()


def test_wells_turned_in_on_one_day_are_one_sentence(routed):
    history = routed((19.2, "W7", "V1"), (19.6, "W3", "V1"))
    assert turned(history, onset(history, 20)) == ("W3 and W7 turned in on 25 Apr",)


def test_a_well_that_left_is_told_and_one_that_stayed_is_not(routed):
    history = routed((19.0, "W1", "V2"), (19.5, "W2", "V2"))
    assert turned(history, onset(history, 20)) == ("W1 turned out on 25 Apr",)
    assert turned(routed((19.0, "W1", "V1")), onset(history, 20)) == ()


def test_a_well_that_is_shut_in_has_left(routed):
    history = routed((19.0, "W1", None))
    assert turned(history, onset(history, 20)) == ("W1 turned out on 25 Apr",)


def test_only_the_two_days_before_count_and_nothing_after_the_night(routed):
    history = routed((17.9, "W2", "V1"), (20.1, "W3", "V1"))
    assert turned(history, onset(history, 20)) == ()
    assert turned(history, onset(history, 20), onset(history, 21)) == ("W3 turned in on 26 Apr",)
    assert turned(routed((28.5, "W3", "V1")), onset(history, 28), onset(history, 29)) == ()


def test_a_vessel_too_small_for_its_load_names_the_wells_that_brought_it(routed, past):
    days = np.arange(28.0)
    made = past(days=28).hours(dumps=1.0)
    made.day(water_short_h=np.where(days >= 20, 6.0, 0.5), inflow_h=24.0, water_load_m3_per_day=800.0,
             water_retention_min=6.0, water_required_min=8.0)  # fmt: skip
    (found,) = size.find(routed((20.3, "W3", "V1"), of=made.history()))
    assert found.summary.endswith("W3 turned in on 26 Apr.")
    assert any("W3 turned in" in instead.why for instead in found.instead)
    (silent,) = size.find(made.history())
    assert "turned" not in silent.summary
