"""Currents of anodes: what they follow, what breaks them, and that they leave the process as it was."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from nightgauge.field.settings import Anode
from nightgauge.simulate.anodes import anode_instrument, anode_samples, current_a
from nightgauge.simulate.make import simulate_samples
from nightgauge.simulate.plan import DAY_S, AnodePlan, Fault


@pytest.fixture
def protected(make_vessel):
    """Return a vessel with one measured anode of 0.2 A that does not wander."""

    def make(*faults, signals=("interface_level",), **changes):
        bar = AnodePlan(Anode("A1", "A", "magnesium"), 0.2, 0.0, anode_instrument("A", "A1"))
        return replace(make_vessel(signals=signals, faults=faults), anodes=(replace(bar, **changes),))

    return make


def _current(plan):
    (vessel,) = plan.vessels
    seconds = np.arange(0.0, plan.days * DAY_S, 600.0)
    return seconds / DAY_S, current_a(plan, vessel, vessel.anodes[0], 0, seconds)


def test_a_current_follows_the_water_by_two_percent_a_degree(protected, make_plan):
    _, current = _current(make_plan(protected(), days=2))
    swing = protected().physics.temperature_day_c
    assert (current.max() - current.min()) / 0.2 == pytest.approx(2 * 0.02 * swing, rel=0.05)


@pytest.mark.parametrize(
    ("fault", "after"),
    [
        (Fault("anode_current_lost", 2 * DAY_S, part="A1"), 0.0),
        (Fault("anode_current_jumped", 2 * DAY_S, size=3.0, part="A1"), 0.6),
        (Fault("anode_current_lost", 2 * DAY_S, part="A2"), 0.2),
    ],
)
def test_a_fault_changes_the_current_of_its_anode_from_its_start(protected, make_plan, fault, after):
    vessel = protected(fault)
    vessel = replace(vessel, physics=replace(vessel.physics, temperature_day_c=0.0, temperature_season_c=0.0))
    days, current = _current(make_plan(vessel, days=4))
    np.testing.assert_allclose(current[days < 2], 0.2)
    np.testing.assert_allclose(current[days >= 2], after, atol=1e-12)


def test_the_historian_keeps_milliamperes_within_its_band_and_never_below_nothing(protected, make_plan):
    plan = make_plan(protected(Fault("anode_current_lost", DAY_S, part="A1")), days=2)
    kept = anode_samples(plan, 7)
    assert kept["tag"].unique().to_list() == [7]
    before, after = (kept.filter(side)["value"] for side in (pl.col("second") < DAY_S, pl.col("second") > DAY_S))
    assert before.mean() == pytest.approx(200.0, rel=0.05)
    assert 0.0 <= after.min() <= after.max() < 5.0
    assert kept["second"].diff().max() <= 1800.0


def test_anodes_leave_every_other_sample_as_it_was(protected, make_plan):
    vessel = protected()
    vessel = replace(vessel, instruments=tuple(replace(one, scan_s=60.0) for one in vessel.instruments))
    with_anodes = simulate_samples(make_plan(vessel, step_s=30.0))
    without = simulate_samples(make_plan(replace(vessel, anodes=()), step_s=30.0))
    assert with_anodes.filter(pl.col("tag") == 0).equals(without)
    assert with_anodes.height > without.height
