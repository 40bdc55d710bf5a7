import numpy as np
import pytest

from nightgauge.detect import carryover

FROM_H = 20 * 24


def _cut(past, values):
    return past(days=28).hours(dumps=1.0, water_in_oil_fraction=values, water_load_m3_per_day=500.0)


def test_a_cut_that_rises_and_stays_is_water_in_oil(past):
    t = np.arange(24.0 * 28)
    (found,) = carryover.find(_cut(past, np.where(t >= FROM_H, 0.15, 0.02) + 0.002 * np.sin(t)).history(FROM_H + 24))
    assert (found.kind, found.element, found.ended) == ("water_in_oil", "vessel", None)
    assert found.evidence[0].expected == pytest.approx(0.02, abs=0.003)


def test_an_upset_of_a_few_hours_is_none(past):
    t = np.arange(24.0 * 28)
    upset = (t >= FROM_H) & (t < FROM_H + 5)
    assert carryover.find(_cut(past, np.where(upset, 0.3, 0.02) + 0.002 * np.sin(t)).history()) == []


def test_a_cut_that_always_goes_with_the_load_is_this_vessels_normal(past):
    t = np.arange(24.0 * 28)
    busy = (t // 24) % 4 == 3
    made = _cut(past, np.where(busy, 0.10, 0.02) + 0.002 * np.sin(t))
    made.hours(water_load_m3_per_day=np.where(busy, 900.0, 500.0) + np.sin(t))
    assert carryover.find(made.history()) == []


def test_more_scrubber_dumps_for_the_same_gas_are_liquid_in_gas(past):
    t = np.arange(24.0 * 28)
    made = past(days=28).hours(dumps=1.0, gas_m3=100.0)
    made.hours(scrubber_dumps=np.where(t >= FROM_H, t % 1 == 0, t % 4 == 0).astype(float))
    (found,) = carryover.find(made.history())
    assert found.kind == "liquid_in_gas"


def test_more_scrubber_dumps_with_as_much_more_gas_are_not(past):
    t = np.arange(24.0 * 28)
    made = past(days=28).hours(dumps=1.0, gas_m3=np.where(t >= FROM_H, 400.0, 100.0))
    made.hours(scrubber_dumps=np.where(t >= FROM_H, t % 1 == 0, t % 4 == 0).astype(float))
    assert carryover.find(made.history()) == []
