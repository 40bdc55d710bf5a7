import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.detect.shifts import BLOCK_S, Rules, find_shifts, shape_of

DAY_S = 86400.0
RULES = Rules(least=1.0, deviations=5.0, reference_s=14 * DAY_S, settled_s=7 * DAY_S)


def _series(days, seed=3, deviation=0.1):
    rng = np.random.default_rng(seed)
    ends = BLOCK_S * np.arange(1, 4 * days + 1)
    return ends, 50.0 + rng.normal(0.0, deviation, 4 * days)


def test_a_still_series_has_no_shift():
    ends, values = _series(42)
    assert find_shifts(ends, values, RULES) == []


def test_a_step_is_found_with_its_day_and_size():
    ends, values = _series(28)
    values[ends > 20 * DAY_S] += 2.0
    (shift,) = find_shifts(ends[: 4 * 24], values[: 4 * 24], RULES)
    assert (shift.shape, shift.ended_s) == ("step", None)
    assert shift.size == pytest.approx(2.0, abs=0.15)
    assert abs(shift.onset_s - 20 * DAY_S) <= BLOCK_S


def test_a_step_that_stays_seven_days_becomes_the_reference():
    ends, values = _series(42)
    values[ends > 20 * DAY_S] += 2.0
    (shift,) = find_shifts(ends, values, RULES)
    assert shift.steady
    assert shift.ended_s == pytest.approx(27 * DAY_S, abs=DAY_S)


def test_after_a_learned_step_the_way_back_is_a_new_step():
    ends, values = _series(42)
    values[(ends > 15 * DAY_S) & (ends <= 30 * DAY_S)] += 2.0
    first, second = find_shifts(ends, values, RULES)
    assert first.size > 0 > second.size
    assert second.reference == pytest.approx(52.0, abs=0.15)
    assert (first.is_restored, second.is_restored) == (False, True)


def test_a_step_to_a_third_level_is_not_the_way_back():
    ends, values = _series(42)
    values[ends > 15 * DAY_S] += 2.0
    values[ends > 30 * DAY_S] += 2.0
    assert [shift.is_restored for shift in find_shifts(ends, values, RULES)] == [False, False]


def test_a_ramp_is_a_drift_that_begins_at_its_foot():
    ends, values = _series(35)
    values += np.clip((ends / DAY_S - 18.0) * 0.3, 0.0, None)
    (shift,) = find_shifts(ends, values, RULES)
    assert shift.shape == "drift"
    assert shift.onset_s == pytest.approx(18 * DAY_S, abs=2 * DAY_S)


def test_a_drift_that_rests_never_moves_the_reference():
    ends, values = _series(60)
    values += np.clip((ends / DAY_S - 18.0) * 0.3, 0.0, 3.0)
    (shift,) = find_shifts(ends, values, RULES)
    assert (shift.shape, shift.ended_s) == ("drift", None)
    assert shift.reference == pytest.approx(50.0, abs=0.1)


def test_a_drift_that_is_put_right_ends_when_the_value_is_back():
    ends, values = _series(42)
    values += np.where(ends < 30 * DAY_S, np.clip((ends / DAY_S - 18.0) * 0.3, 0.0, None), 0.0)
    (shift,) = find_shifts(ends, values, RULES)
    assert shift.shape == "drift"
    assert shift.ended_s == pytest.approx(30 * DAY_S, abs=DAY_S)


def test_one_day_away_is_no_move():
    ends, values = _series(42)
    values[(ends > 20 * DAY_S) & (ends <= 21 * DAY_S)] -= 5.0
    assert find_shifts(ends, values, RULES) == []


def test_a_gap_of_days_is_no_move():
    ends, values = _series(42)
    values[(ends > 15 * DAY_S) & (ends <= 25 * DAY_S)] = np.nan
    assert find_shifts(ends, values, RULES) == []


def test_without_a_past_the_setting_is_the_reference_and_it_says_so():
    ends, values = _series(2)
    with_setting = Rules(1.0, 5.0, 14 * DAY_S, 7 * DAY_S, setting=45.0, setting_least=3.0)
    (shift,) = find_shifts(ends, values, with_setting)
    assert shift.by_setting
    assert find_shifts(ends, values, Rules(1.0, 5.0, 14 * DAY_S, 7 * DAY_S, setting=48.0, setting_least=3.0)) == []
    assert find_shifts(ends, values, RULES) == []


def test_serially_correlated_wander_of_a_sound_value_is_seldom_a_move():
    # An AR(1) of the blocks with a day's memory: its daily scatter is what the rule compares with.
    told = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        noise = rng.normal(0.0, 0.15, 4 * 42)
        wander = np.zeros_like(noise)
        for i in range(1, len(noise)):
            wander[i] = 0.8 * wander[i - 1] + noise[i]
        told += len(find_shifts(BLOCK_S * np.arange(1, 4 * 42 + 1), 50.0 + wander, RULES))
    assert told <= 1


@settings(deadline=None)  # the machine's load is no property of the code
@given(st.integers(min_value=1, max_value=160), st.integers(min_value=0, max_value=10))
def test_what_comes_later_does_not_change_a_move_that_is_over(cut, seed):
    ends, values = _series(42, seed=seed)
    values[(ends > 15 * DAY_S) & (ends <= 18 * DAY_S)] += 2.0
    whole = [s for s in find_shifts(ends, values, RULES) if s.ended_s is not None]
    # The walk goes in whole days counted back from the end: cut by whole days.
    kept = 4 * (42 - cut // 4)
    part = [s for s in find_shifts(ends[:kept], values[:kept], RULES) if s.ended_s is not None]
    assert [s.ended_s for s in part] == [s.ended_s for s in whole if s.ended_s <= ends[kept - 1] - DAY_S][: len(part)]


def test_shape_of_a_pure_step_and_of_a_pure_ramp():
    times = BLOCK_S * np.arange(40.0)
    step = np.where(np.arange(40) >= 20, 1.0, 0.0)
    ramp = np.clip((np.arange(40) - 20) * 0.1, 0.0, None)
    assert shape_of(times, step)[:2] == ("step", 20)
    shape, index, ratio = shape_of(times, ramp)
    assert shape == "drift"
    assert abs(index - 20) <= 2
    assert ratio < 0.2
