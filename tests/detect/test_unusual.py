"""Days unlike the others: planted odd days are told, ordinary, busy, short and explained ones are not."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from nightgauge.detect import find as find_all
from nightgauge.detect import unusual
from nightgauge.field.settings import Outage
from nightgauge.units import DIMENSIONS

DAYS, ODD = 56, 50
"""Days of the past, and the number of the odd one among them."""


@pytest.fixture
def vessel(sound_snap):
    """Return a maker of a sound vessel whose indicators move by so many floors of theirs on the odd days."""

    def make(size=0.0, odd=(ODD,), days=DAYS, load=None, **more):
        made = sound_snap(days=days, **more)
        daily = np.zeros(days)
        daily[list(odd)] = size
        busy = np.ones(days) if load is None else load
        hours = np.repeat(daily, 24)
        opened = made.every(2.0 / 3.0)
        day = (opened // 24).astype(int)
        scatter = made.rng.normal(0.0, 0.003, (2, len(opened)))
        made.dumps(
            opened, drain_s=180.0 * (1.0 - 0.03 * daily[day]), inflow_m3_per_day=500.0,
            opening=1.15 + 0.00635 * daily[day] + scatter[0], closing=1.05 + 0.00635 * daily[day] + scatter[1],
        )  # fmt: skip
        pressure = 314.0 + 30.0 * np.repeat(busy - 1.0, 24) + 1.7 * hours + made.noise(1.0)
        made.signal("vessel_pressure", pressure, 4.0).signal("inlet_pressure", pressure + 20.0, 4.0)
        made.hours(water_in_oil_fraction=0.02 + 0.005 * hours + made.noise(0.001))
        made.hours(water_load_m3_per_day=500.0 * np.repeat(busy, 24) + made.noise(5.0))
        return made

    return make


def verdicts(history):
    days = unusual.read_days(history)
    return {days.begin_s[row]: verdict for row, verdict in unusual.verdicts(history, days).items()}


def test_four_indicators_a_little_off_together_make_an_odd_day(vessel):
    (told,) = unusual.find(vessel(size=3.0).history())
    midnight = vessel().history().when(vessel().history().day_s[ODD])
    assert (told.kind, told.element, told.priority) == ("unusual_day", "vessel", "low")
    assert (told.onset, told.ended) == (midnight, midnight + timedelta(days=1))
    assert told.confidence <= 0.65


def test_three_indicators_are_named_with_what_was_expected(vessel):
    (told,) = unusual.find(vessel(size=4.0).history())
    moved = {
        "opening level": (1.15 + 4 * 0.00635, 1.15),
        "water in the oil outlet": (0.04, 0.02),
        "drain time": (158.4, 180.0),
        "vessel pressure": (320.8, 314.0),
    }
    assert len(told.evidence) == 3
    assert {one.name for one in told.evidence} <= moved.keys()
    units = {dimension.si for dimension in DIMENSIONS.values()}
    for one in told.evidence:
        assert one.unit in units
        assert one.name in told.summary
        value, usual = moved[one.name]
        assert one.value == pytest.approx(value, rel=0.02)
        assert abs(one.expected - usual) < 0.6 * abs(value - usual)


def test_one_indicator_far_off_makes_an_odd_day(vessel):
    made = vessel()
    cut = np.array(made.hour_columns["water_in_oil_fraction"])
    cut[24 * ODD : 24 * ODD + 24] += 0.05
    (told,) = unusual.find(made.hours(water_in_oil_fraction=cut).history())
    assert told.evidence[0].name == "water in the oil outlet"


def test_ordinary_days_are_not_told(vessel):
    for seed in range(5):
        made = vessel(rng=np.random.default_rng(seed))
        assert unusual.find(made.history()) == []
        assert len(verdicts(made.history())) >= 21


def test_a_day_stands_until_a_quiet_one_follows(vessel):
    made = vessel(size=4.0)
    (told,) = unusual.find(made.history(24.0 * (ODD + 1)))
    assert told.ended is None
    assert unusual.find(made.history(24.0 * ODD)) == []


def test_a_busy_day_is_not_unusual_where_busy_days_were_before(vessel):
    # The pressure rises by 30 kPa for the usual load once more: 9 kPa on the busiest day, five times its floor.
    load = 1.0 + 0.15 * np.sin(np.arange(DAYS) * 1.7)
    load[ODD] = 1.3
    history = vessel(load=load).history()
    assert unusual.find(history) == []
    load = np.ones(DAYS)
    made = vessel(load=load)
    pressure = made.signals["vessel_pressure"]
    pressure["mean"] = pressure["mean"] + np.where(made.t // 24 == ODD, 9.0, 0.0)
    assert len(unusual.find(made.history())) == 1


def test_a_move_that_stays_is_the_usual_after_a_week(vessel):
    first = ODD - 12
    made = vessel(size=5.0, odd=range(first, DAYS))
    assert max(told.last_seen for told in unusual.find(made.history())) <= made.history().when(
        made.history().day_s[first + 8]
    )


def test_a_verdict_rests_on_days_before_it_and_stays(vessel):
    made = vessel(size=3.0, odd=(44, ODD))
    last = verdicts(made.history())
    for night in (45, 48, ODD + 1):
        then = verdicts(made.history(24.0 * night))
        shared = last.keys() & then.keys()
        assert len(shared) >= 7
        for day in shared:
            assert then[day].score == last[day].score
            assert then[day].line == last[day].line


def test_rows_after_the_night_change_nothing(vessel):
    history = vessel(size=3.0).history(24.0 * (ODD + 1))
    cut = replace(
        history,
        cycles=history.cycles.filter(pl.col("opened_utc") < history.until),
        hours=history.hours.filter(pl.col("hour_utc") < history.until),
        days=history.days.filter(pl.col("day") < history.until.date()),
        signal_hours=history.signal_hours.filter(pl.col("hour_utc") < history.until),
    )
    assert unusual.find(cut) == unusual.find(history) != []


def test_a_young_vessel_is_not_judged(vessel):
    assert verdicts(vessel(size=5.0, days=26, odd=(25,)).history()) == {}


def test_a_young_vessel_says_what_it_needs(vessel):
    judgement = find_all(vessel(days=20, odd=()).history())
    assert judgement.unjudged["unusual_day"] == "needs 28 days of past, 20 are there"
    assert "unusual_day" in find_all(vessel(days=28, odd=()).history()).judged


def test_odd_limits_break_nothing(vessel):
    never = {"chance": 0.0, "days": 0.0, "indicators": 0.0, "deviations": 0.0}
    assert unusual.find(vessel(limits={"unusual_day": never}).history()) == []


def test_a_day_with_few_indicators_is_not_judged(sound_snap):
    made = sound_snap(days=DAYS, without=("interface_level", "water_dump_open"))
    made.cycles = {}
    assert verdicts(made.history()) == {}


def test_a_day_with_an_outage_is_not_judged(vessel):
    made = vessel(size=5.0)
    begin = made.history().when(made.history().day_s[ODD])
    out = Outage("V1", begin + timedelta(hours=9), begin + timedelta(hours=11), "inspection")
    made.outages = (out,)
    assert made.history().day_s[ODD] not in verdicts(made.history())
    assert unusual.find(made.history()) == []


def test_a_day_without_inflow_is_not_judged(vessel):
    load = np.ones(DAYS)
    load[ODD] = 0.1
    made = vessel(size=5.0, load=load)
    assert made.history().day_s[ODD] not in verdicts(made.history())


def test_a_day_not_known_for_a_half_is_not_told(vessel):
    made = vessel(size=5.0)
    gap = (made.t >= 24 * ODD) & (made.t < 24 * ODD + 14)
    for columns in made.signals.values():
        columns["coverage"] = np.where(gap, 0.0, 1.0)
    cut = np.array(made.hour_columns["water_in_oil_fraction"])
    made.hours(water_in_oil_fraction=np.where(gap, np.nan, cut))
    made.dumps(np.array([h for h in made.every(2.0 / 3.0) if not 24 * ODD <= h < 24 * (ODD + 1)]))
    assert unusual.find(made.history()) == []


def test_each_well_on_test_is_compared_with_itself(vessel):
    # Three wells, two days each in turn; one holds the vessel 2 psi higher than the others.
    days = 168
    turns = (np.arange(days) // 2) % 3
    wells = [f"W{turn}" for turn in np.repeat(turns, 24)]
    made = vessel(days=days, size=4.0, odd=(165,))
    pressure = made.signals["vessel_pressure"]
    pressure["mean"] = pressure["mean"] + np.repeat(np.where(turns == 1, 14.0, 0.0), 24)
    made.hours(well_on_test=wells)
    (told,) = unusual.find(made.history())
    assert told.onset == made.history().when(made.history().day_s[165])


def test_a_day_that_another_finding_touches_is_told_inside_it(vessel):
    made = vessel(size=4.0)
    alone = find_all(made.history()).candidates
    assert [c.kind for c in alone] == ["unusual_day"]
    made.signal("temperature", 35.0, coverage=np.where((made.t >= 24 * ODD) & (made.t < 24 * ODD + 24), 0.0, 1.0))
    explained = find_all(made.history()).candidates
    assert [c.kind for c in explained] == ["data_gap"]
    assert explained[0].also == ("unusual_day",)


def test_a_vessel_without_rows_is_silent(past):
    made = past(days=3)
    empty = replace(made.history(), days=made.history().days.clear(), hours=made.history().hours.clear())
    assert unusual.find(empty) == []
