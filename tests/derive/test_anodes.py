"""What is left of an anode: Faraday's law through the whole room, a slow twin of the charge, and what is missing."""

import math
import statistics
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nightgauge.derive.anodes import anode_status
from nightgauge.field.settings import Anode, Inspection
from nightgauge.vocabulary.frames import ANODES, SIGNAL_HOURS

POUND_KG = 0.45359237
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
many = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def start():
    return datetime(2026, 3, 2, tzinfo=UTC)


@pytest.fixture
def bar(start):
    return Anode("A1", "T-1", "magnesium", 32 * POUND_KG, "AI", start, 0.85, 1100.0)


@pytest.fixture
def status(make_field, knockout, start):
    """Return the row of one anode: status(bar, currents hour by hour, hours after the start)."""

    def run(anode, mean=(), until_h=None, coverage=1.0, inspections=()):
        field = make_field(knockout, anodes=(anode,), inspections=inspections)
        until = start + HOUR * (len(mean) if until_h is None else until_h)
        (row,) = anode_status(field, hours_of(mean, start, coverage), until).to_dicts()
        return row

    return run


def hours_of(mean, start, coverage=1.0):
    return SIGNAL_HOURS.build(
        {
            "vessel": ["T-1"] * len(mean),
            "signal": ["anode_current:A1"] * len(mean),
            "hour_utc": [start + HOUR * n for n in range(len(mean))],
            "coverage": np.broadcast_to(np.asarray(coverage, float), len(mean)),
            "mean": np.asarray(mean, float),
        }
    )


@pytest.mark.parametrize(
    ("pounds", "capacity", "amperes", "years"),
    [
        # W u e / (8760 I), the form of DNV-RP-B401; figures by hand from 1 lb = 0.45359237 kg exactly.
        (32, 1100.0, 0.20, 7.746281),
        (70, 2500.0, 0.50, 15.404535),
        (50, 740.0, 0.30, 5.428265),
    ],
)
def test_the_whole_life_of_an_anode_agrees_with_the_worked_examples(bar, status, pounds, capacity, amperes, years):
    anode = replace(bar, mass_kg=pounds * POUND_KG, capacity_ah_per_kg=capacity)
    row = status(anode, [amperes] * 48)
    # What the two days took is no longer to come; a year has 365 days in these standards.
    assert row["life_left_days"] + 2.0 == pytest.approx(years * 365.0, rel=1e-6)
    assert row["charge_ah"] == pytest.approx(48 * amperes)


@pytest.mark.parametrize(
    ("material", "efficiency", "pounds_per_year"),
    [
        # Theoretical consumption by Faraday's law over the efficiency; Mg 50 % (Roberge, p. 554), Zn 90 % (abstract in
        # Corrosion vol. 1, 1945), Al 95 % (Roberge).
        ("magnesium", 0.50, 17.5136),
        ("zinc", 0.90, 26.1729),
        ("aluminium", 0.95, 6.8218),
    ],
)
def test_an_ampere_takes_what_faradays_law_says_in_a_year(bar, status, material, efficiency, pounds_per_year):
    theoretical = {"magnesium": 2205.429, "zinc": 819.868, "aluminium": 2979.980}[material]
    anode = replace(bar, material=material, mass_kg=100.0, capacity_ah_per_kg=theoretical * efficiency)
    row = status(anode, [1.0] * 8760)
    assert (100.0 - row["mass_left_kg"]) / POUND_KG == pytest.approx(pounds_per_year, rel=1e-4)


def naive_charge(mean, coverage, begin_h, until_h):
    """Add up the charge hour by hour, and take unknown time at the median of the known days, counted from the end."""
    charge = known = 0.0
    first, days = None, {}
    for hour, (amperes, share) in enumerate(zip(mean, coverage, strict=True)):
        inside = (min(hour + 1.0, until_h) - max(float(hour), begin_h)) * share
        if inside > 0.0:
            charge += max(amperes, 0.0) * inside
            known += inside
            first = hour if first is None else first
            day = math.ceil((until_h - hour) / 24.0) - 1
            ran, through = days.get(day, (0.0, 0.0))
            days[day] = ran + inside, through + max(amperes, 0.0) * inside
    means = {day: through / ran for day, (ran, through) in days.items()}
    before = max(first - begin_h, 0.0)
    first_weeks = [means[day] for day in sorted(means)][-28:]
    rest = until_h - begin_h - known - before
    return charge + before * statistics.median(first_weeks) + rest * statistics.median(means.values())


@many
@given(seed=st.integers(0, 10**6), begin=st.floats(0.0, 100.0), until=st.floats(400.0, 500.0))
def test_the_charge_is_that_of_a_slow_sum_with_gaps_and_cut_hours(make_field, knockout, start, bar, seed, begin, until):
    rng = np.random.default_rng(seed)
    mean, coverage = rng.normal(0.3, 0.2, 500), rng.choice([0.0, 0.4, 1.0], 500)
    field = make_field(knockout, anodes=(replace(bar, installed_utc=start + begin * HOUR),))
    row = anode_status(field, hours_of(mean, start, coverage), start + until * HOUR).to_dicts()[0]
    assert row["charge_ah"] == pytest.approx(naive_charge(mean, coverage, begin, until), rel=1e-6)


@many
@given(st.lists(st.floats(0.0, 2.0), min_size=60, max_size=120), st.integers(24, 36))
def test_an_inspection_of_what_was_reckoned_anyway_changes_nothing(make_field, knockout, start, bar, mean, at):
    # Charge adds up: the mass left after all hours is that after some of them, less what the rest took.
    field, hours = make_field(knockout, anodes=(bar,)), hours_of(mean, start)
    until = start + len(mean) * HOUR
    (whole,) = anode_status(field, hours, until).to_dicts()
    (part,) = anode_status(field, hours, start + at * HOUR).to_dicts()
    seen = Inspection(start + at * HOUR, "T-1", "A1", mass_kg=part["mass_left_kg"])
    (after,) = anode_status(replace(field, inspections=(seen,)), hours, until).to_dicts()
    assert after["mass_left_kg"] == pytest.approx(whole["mass_left_kg"], abs=1e-9)
    assert after["charge_ah"] + part["charge_ah"] == pytest.approx(whole["charge_ah"])


@many
@given(st.floats(0.03, 3.0), st.floats(1.001, 5.0))
def test_more_current_means_a_shorter_life(make_field, knockout, start, bar, amperes, factor):
    field = make_field(knockout, anodes=(bar,))
    low, high = (
        anode_status(field, hours_of([i] * 60, start), start + 60 * HOUR).to_dicts()[0]
        for i in (amperes, amperes * factor)
    )
    assert high["life_left_days"] < low["life_left_days"]
    assert high["mass_left_kg"] < low["mass_left_kg"]
    assert low["shortest_life_days"] <= low["life_left_days"] <= low["longest_life_days"]


def test_time_before_the_first_sample_counts_as_its_first_weeks_and_is_said(bar, status, start):
    row = status(replace(bar, installed_utc=start - 300 * DAY), [0.4] * 240)
    assert row["charge_ah"] == pytest.approx(0.4 * 310 * 24)
    assert "current known 3 % of the time since, the rest taken at the median of its days" in row["basis"]


def test_a_jump_of_late_does_not_change_the_years_before(bar, status, start):
    old = replace(bar, installed_utc=start - 1000 * DAY)
    row = status(old, [0.2] * 24 * 30 + [1.0] * 24 * 20)
    assert row["charge_ah"] == pytest.approx(0.2 * 24 * 1030 + 1.0 * 24 * 20)


def test_the_life_is_at_the_current_of_the_last_four_weeks_and_its_interval_holds_their_days(bar, status):
    steady = status(bar, [0.1] * 1200 + [0.3] * 672)
    wild = status(bar, [0.1] * 1200 + ([0.2] * 24 + [0.4] * 24) * 14)
    assert steady["current_a"] == pytest.approx(0.3)
    assert wild["longest_life_days"] - wild["shortest_life_days"] > 1.5 * (
        steady["longest_life_days"] - steady["shortest_life_days"]
    )


def test_the_day_it_is_spent_and_the_next_look_follow_from_the_life(bar, status, start):
    row = status(replace(bar, mass_kg=2.0, installed_utc=start), [0.2] * 24 * 60)
    # 2 kg x 0.85 x 1100 A h/kg / (0.2 A x 24 h) = 389.58 days in all, of which 60 are over.
    assert row["life_left_days"] == pytest.approx(389.5833 - 60.0, abs=1e-3)
    assert row["spent_on"] == (start + timedelta(days=389.5833)).date()
    assert row["inspect_by"] == (start + timedelta(days=60 + row["shortest_life_days"] / 2)).date()


def test_a_long_lived_anode_is_looked_at_once_a_year(bar, status, start):
    assert status(bar, [0.05] * 100)["inspect_by"] == (start + timedelta(days=365)).date()


def test_a_current_that_died_leaves_the_mass_and_no_life(bar, status):
    row = status(bar, [0.3] * 240 + [0.0] * 800)
    assert row["charge_ah"] == pytest.approx(72.0)
    assert (row["life_left_days"], row["spent_on"]) == (None, None)
    assert row["left_fraction"] > 0.99
    assert "gives no current now" in row["basis"]


def test_a_current_that_died_yesterday_has_no_life_though_its_weeks_were_sound(bar, status):
    row = status(bar, [0.3] * 900 + [0.002] * 24)
    assert (row["current_a"], row["life_left_days"]) == (0.0, None)
    assert status(bar, [0.3] * 900 + [0.002] * 4)["life_left_days"] > 1000.0


def test_an_interval_without_an_end_in_sight_is_open(bar, status):
    row = status(bar, [0.3] * 400 + [1e-5] * 200 + [0.3] * 40)
    assert row["longest_life_days"] is None
    assert row["life_left_days"] < 10000.0


def test_two_inspections_without_a_current_are_carried_on(bar, status, start):
    seen = (
        Inspection(start, "T-1", "A1", mass_kg=10.0),
        Inspection(start + 100 * DAY, "T-1", "A1", mass_kg=8.0),
    )
    anode = replace(bar, tag=None, mass_kg=12.0, installed_utc=None)
    row = status(anode, until_h=150 * 24, inspections=seen)
    # 2 kg in 100 days: 7 kg after 150; 15 % of 12 kg cannot be used, so 5.2 kg at 0.02 kg a day.
    assert row["mass_left_kg"] == pytest.approx(7.0)
    assert row["life_left_days"] == pytest.approx(260.0)
    assert row["left_fraction"] == pytest.approx(5.2 / 10.2)
    assert row["spent_on"] == (start + 410 * DAY).date()
    assert row["charge_ah"] is None


def test_shares_alone_give_shares_and_life(bar, status, start):
    anode = replace(bar, tag=None, mass_kg=None)
    row = status(anode, until_h=200 * 24, inspections=(Inspection(start + 100 * DAY, "T-1", "A1", left_fraction=0.8),))
    # A fifth in 100 days, so 60 % is left after 200, and 45 % of the bar until the last 15 %: 225 days.
    assert (row["first_mass_kg"], row["mass_left_kg"]) == (None, None)
    assert row["life_left_days"] == pytest.approx(225.0)


def test_more_than_there_was_is_a_new_anode(bar, status, start):
    seen = (
        Inspection(start + 100 * DAY, "T-1", "A1", left_fraction=0.3),
        Inspection(start + 110 * DAY, "T-1", "A1", left_fraction=1.0),
    )
    row = status(replace(bar, tag=None), until_h=120 * 24, inspections=seen)
    assert row["from_utc"] == start + 110 * DAY
    assert row["life_left_days"] is None
    assert "a second known mass" in row["basis"]


def test_no_loss_is_no_endless_life(bar, status, start):
    seen = (Inspection(start + 100 * DAY, "T-1", "A1", left_fraction=1.0),)
    row = status(replace(bar, tag=None), until_h=120 * 24, inspections=seen)
    assert (row["life_left_days"], row["left_fraction"]) == (None, 1.0)
    assert "no loss was seen" in row["basis"]


@pytest.mark.parametrize(
    ("changes", "missing"),
    [
        ({"installed_utc": None}, "the day it was put in"),
        ({"tag": None}, "a tag for the current"),
        ({"mass_kg": None}, "its mass when new"),
        ({}, "a day of known current"),
    ],
)
def test_what_is_missing_is_said(bar, status, changes, missing):
    row = status(replace(bar, **changes), until_h=100)
    assert row["life_left_days"] is None
    assert missing in row["basis"]


def test_nothing_later_than_the_night_counts(bar, make_field, knockout, start):
    until = start + 100 * HOUR
    late = Inspection(start + 150 * HOUR, "T-1", "A1", left_fraction=0.1)
    field = make_field(knockout, anodes=(bar, replace(bar, id="A2", installed_utc=until)), inspections=(late,))
    full = anode_status(field, hours_of([0.3] * 100 + [9.0] * 100, start), until)
    bare = anode_status(make_field(knockout, anodes=(bar,)), hours_of([0.3] * 100, start), until)
    assert full.equals(bare)


def test_warm_aluminium_gives_less(bar, status):
    # 2000 - 27 (40 - 20) = 1460 A h/kg in the knockout of 40 degC (ABS 2017, from a secondary copy).
    row = status(replace(bar, material="aluminium", capacity_ah_per_kg=None), [1.46] * 1000)
    assert 32 * POUND_KG - row["mass_left_kg"] == pytest.approx(1.0)


def test_a_field_without_anodes_has_no_rows(make_field, knockout, start):
    empty = anode_status(make_field(knockout), SIGNAL_HOURS.empty(), start)
    assert empty.equals(ANODES.empty())


def test_currents_of_two_anodes_keep_their_own_hours(make_samples, derive):
    samples = make_samples(period_s=600.0, **{"anode_current:A1": [0.3] * 72, "anode_current:A2": [0.1] * 144})
    derived = derive(samples, hours=24)
    means = derived.signal_hours.group_by("signal").agg(pl.col("mean").mean(), pl.col("coverage").sum()).sort("signal")
    assert means["signal"].to_list() == ["anode_current:A1", "anode_current:A2"]
    assert means["mean"].to_list() == pytest.approx([0.3, 0.1])
    assert means["coverage"].to_list() == pytest.approx([71 / 6, 143 / 6], abs=1.01)
    # The vessel's column says how well the best known of them is.
    assert derived.days["coverage_anode_current"].item() == pytest.approx(means["coverage"][1] / 24)
