"""Anodes: planted dead and jumped currents are found, quiet ones never, and what is left says which it is."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nightgauge.detect import anodes, find
from nightgauge.field.settings import Outage
from nightgauge.vocabulary.frames import ANODES

AT_H = 30 * 24 + 8
SIGNAL = "anode_current:A1"


@pytest.fixture
def currents(past):
    """Return a maker of a vessel with anodes: usual currents by id, factors hour by hour."""

    def make(days=60, factor=1.0, seed=7, **usual):
        made = past(days=days, rng=np.random.default_rng(seed))
        for name, amperes in (usual or {"A1": 0.30}).items():
            daily = 1.0 + 0.05 * np.sin(2 * np.pi * made.t / 24.0)
            made.signal(f"anode_current:{name}", amperes * factor * daily * np.exp(made.noise(0.04)))
        return made

    return make


def row(history, **columns):
    """Return the history with a row of ANODES for A1."""
    frame = ANODES.build({name: [value] for name, value in ({"vessel": "V1", "anode": "A1"} | columns).items()})
    return replace(history, anodes=frame)


def test_a_current_that_dies_is_found_at_its_hour(currents):
    made = currents(factor=np.where(currents().t >= AT_H, 0.002, 1.0))
    (found,) = anodes.find(row(made.history(), left_fraction=0.7))
    assert (found.kind, found.element, found.priority) == ("anode_current_lost", "anode:A1", "medium")
    assert (found.onset.timestamp() - made.history().start_s) / 3600.0 == AT_H
    assert found.ended is None
    assert "a broken lead or connection is likelier than a spent bar" in found.summary
    assert found.evidence[0].expected == pytest.approx(0.30, rel=0.05)


def test_it_is_told_after_a_day(currents):
    made = currents(factor=np.where(currents().t >= AT_H, 0.0, 1.0))
    assert anodes.find(made.history(AT_H + 20)) == []
    assert [c.kind for c in anodes.find(made.history(AT_H + 30))] == ["anode_current_lost"]


def test_a_dead_current_with_nothing_known_of_the_mass_names_both(currents):
    made = currents(factor=np.where(currents().t >= AT_H, 0.0, 1.0))
    (found,) = anodes.find(made.history())
    assert "the bar is spent or its lead is broken" in found.summary


def test_a_dead_current_of_a_worn_bar_is_told_inside_the_spent_anode(currents):
    made = currents(factor=np.where(currents().t >= AT_H, 0.0, 1.0))
    (found,) = anodes.find(row(made.history(), left_fraction=0.05, charge_ah=1e4))
    assert (found.kind, found.also) == ("anode_spent", ("anode_current_lost",))
    assert "gives no current any more" in found.summary


def test_a_current_that_comes_back_was_lost_until_then(currents):
    t = currents().t
    made = currents(factor=np.where((t >= AT_H) & (t < AT_H + 50), 0.0, 1.0))
    (found,) = anodes.find(made.history())
    assert (found.ended - found.onset) == timedelta(hours=50)
    assert "gave no current for 2 days" in found.summary


def test_a_lead_taken_off_for_a_shift_is_nothing(currents):
    t = currents().t
    made = currents(factor=np.where((t >= AT_H) & (t < AT_H + 12), 0.0, 1.0))
    assert anodes.find(made.history()) == []


def test_a_current_that_fades_over_weeks_is_told_when_little_comes(currents):
    t = currents(days=90).t
    made = currents(days=90, factor=np.exp(-np.maximum(t - 20 * 24, 0.0) / (10 * 24)))
    (found,) = anodes.find(made.history())
    assert found.kind == "anode_current_lost"
    # e^-3 = 0.05: three time constants after the 20th day, less what the fading past itself has come down by.
    assert 50 * 24 < (found.onset.timestamp() - made.history().start_s) / 3600.0 < 62 * 24


def test_anodes_that_die_in_one_hour_share_something(currents):
    made = currents(A1=0.3, A2=0.2, factor=np.where(currents().t >= AT_H, 0.0, 1.0))
    one, other = anodes.find(made.history())
    assert (one.element, other.element) == ("anode:A1", "anode:A2")
    assert "Anode A2 died in the same hour" in one.summary
    assert one.confidence == 0.6


def test_a_current_without_readings_or_in_an_outage_is_not_lost(currents):
    t = currents().t
    silent = currents()
    silent.signals[SIGNAL]["coverage"] = np.where(t >= AT_H, 0.0, 1.0)
    assert anodes.find(silent.history()) == []
    out = currents(factor=np.where(t >= AT_H, 0.0, 1.0))
    start = out.history().when(out.history().start_s)
    out.outages = (Outage("V1", start + timedelta(hours=AT_H), start + timedelta(days=90)),)
    assert anodes.find(out.history()) == []


def test_an_anode_that_the_water_has_left_is_not_lost(currents):
    made = currents(factor=np.where(currents().t >= AT_H, 0.0, 1.0))
    made.signal("interface_level", np.where(made.t >= AT_H, 0.1, 1.1))
    assert anodes.find(made.history()) == []


def test_a_frozen_current_is_not_lost(currents):
    made = currents()
    columns = made.signals[SIGNAL]
    columns["mean"] = np.where(made.t >= AT_H, columns["mean"][AT_H], columns["mean"])
    columns["changes"] = np.where(made.t >= AT_H, 0, 30)
    assert anodes.find(made.history()) == []


def test_a_current_that_jumps_is_told_after_three_days(currents):
    made = currents(factor=np.where(currents().t >= AT_H, 3.0, 1.0))
    assert anodes.find(made.history(AT_H + 48)) == []
    (found,) = anodes.find(made.history(AT_H + 90))
    assert (found.kind, found.element, found.priority) == ("anode_current_jumped", "anode:A1", "medium")
    assert abs(found.onset.timestamp() - made.history().start_s - AT_H * 3600) <= 86400
    assert "times what it gave before" in found.summary


def test_a_jump_that_stays_is_not_taken_as_usual(currents):
    made = currents(days=110, factor=np.where(currents(days=110).t >= AT_H, 2.6, 1.0))
    (found,) = anodes.find(made.history())
    assert found.ended is None


def test_current_that_follows_the_temperature_has_not_jumped(currents):
    t = currents().t
    degrees = 40.0 + 3.0 * np.sin(2 * np.pi * t / (24 * 5)) + np.where(t >= AT_H, 30.0, 0.0)
    made = currents(factor=1.0 + 0.05 * (degrees - 40.0)).signal("temperature", degrees)
    assert anodes.find(made.history()) == []
    bare = currents(factor=1.0 + 0.05 * (degrees - 40.0))
    (found,) = anodes.find(bare.history())
    assert any(other.kind == "hotter water" and "not excluded" in other.why for other in found.instead)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 10**6), st.floats(0.01, 3.0), st.floats(-0.6, 0.4))
def test_quiet_currents_of_sixty_days_are_never_told(currents, seed, amperes, drift):
    t = currents().t
    made = currents(seed=seed, A1=amperes, factor=1.0 + drift * t / t[-1])
    history = made.history()
    assert anodes.find(row(history, left_fraction=0.6, life_left_days=900.0, charge_ah=1.0)) == []


@pytest.mark.parametrize(
    ("left", "life", "is_told"), [(0.19, 400.0, True), (0.5, 89.0, True), (0.21, 91.0, False), (0.4, None, False)]
)
def test_an_anode_is_spent_by_what_is_left_or_by_how_long_it_lasts(currents, left, life, is_told):
    found = anodes.find(row(currents().history(), left_fraction=left, life_left_days=life, charge_ah=1.0))
    assert [c.kind for c in found] == ["anode_spent"] * is_told


def test_spent_began_when_the_limit_was_passed(currents):
    history = currents().history()
    # 18 % lasts 36 days, so half a percent goes a day and 20 % was passed four days ago; 90 days, 54 days ago.
    (found,) = anodes.find(row(history, left_fraction=0.18, life_left_days=36.0))
    assert history.until - found.onset == timedelta(days=54)


def test_inspections_alone_are_enough_to_judge_what_is_left(past):
    judged = find(row(past().history(), left_fraction=0.1))
    assert "anode_spent" in judged.judged
    assert [c.kind for c in judged.candidates] == ["anode_spent"]


def test_a_vessel_without_anodes_says_what_it_needs(past):
    assert find(past().history()).unjudged["anode_current_lost"] == "needs an [[anode]] in field.toml"


def test_every_finding_says_that_an_anode_is_pulled_out_of_service_only(currents):
    made = currents(factor=np.where(currents().t >= AT_H, 0.0, 1.0))
    (found,) = anodes.find(made.history())
    assert any("only pulled from a vessel that is out of service" in check for check in found.checks)
