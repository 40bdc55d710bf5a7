import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.totals import DAY_S, counted, summed


def seconds(*when):
    return np.array(when, dtype=np.int64) * SECOND_US


def by_step(make_track, values, raw_unit=0.0, **how):
    return counted(make_track("water_total", values, **how), raw_unit).volume_m3.tolist()


def test_a_totaliser_counts_its_increments(make_track):
    assert by_step(make_track, [10.0, 10.0, 12.0, 15.0]) == [0.0, 2.0, 3.0]


def test_a_reset_loses_nothing_but_what_passed_unseen(make_track):
    assert by_step(make_track, [100.0, 102.0, 1.0, 3.0]) == [2.0, 1.0, 2.0]


def test_a_register_rolls_over_at_a_power_of_ten_of_its_own_unit(make_track):
    # Six digits of barrels: 999,998 to 3 is five barrels.
    barrel = 0.158987294928
    values = [x * barrel for x in (999_990.0, 999_994.0, 999_998.0, 3.0, 7.0)]
    assert by_step(make_track, values, raw_unit=barrel) == pytest.approx([x * barrel for x in (4, 4, 5, 4)])


def test_a_reset_far_from_the_top_is_no_roll_over(make_track):
    barrel = 0.158987294928
    values = [x * barrel for x in (500_000.0, 500_004.0, 2.0, 6.0)]
    assert by_step(make_track, values, raw_unit=barrel) == pytest.approx([x * barrel for x in (4, 2, 4)])


def test_a_pulse_counted_backwards_is_made_good_by_the_next(make_track):
    assert by_step(make_track, [10.0, 11.0, 10.0, 11.0, 12.0]) == [1.0, 0.0, 0.0, 1.0]


def test_a_register_set_back_by_hand_loses_no_later_volume(make_track):
    assert by_step(make_track, [5000.0, 5001.0, 4000.0, 4001.0, 4002.0]) == [1.0, 0.0, 1.0, 1.0]


def test_volume_over_a_bad_sample_is_counted(make_track):
    assert by_step(make_track, [1.0, None, 3.0], period_s=60) == [2.0]


def test_volume_over_a_long_gap_is_not(make_track):
    found = counted(make_track("water_total", [1.0, 2.0, 9.0, 10.0], times_s=[0, 60, 200_000, 200_060]))
    assert found.volume_m3.tolist() == [1.0, 1.0]
    start = found.from_us[:1]
    for first, last in ((0, 200_060), (30, 200_060), (60, 200_000), (0, 100_000), (100_000, 200_060)):
        assert np.isnan(found.after_to_after(start + seconds(first), start + seconds(last))).all()


def test_a_constant_or_single_reading_counts_nothing(make_track):
    assert by_step(make_track, [7.0, 7.0]) == [0.0]
    assert by_step(make_track, [7.0]) == []


def test_volumes_of_stretches_one_after_another_add_up(make_track):
    found = counted(make_track("water_total", [0.0, 1.0, 4.0, 4.0, 9.0, 11.0], period_s=10))
    start = found.from_us[0]
    ends = start + seconds(0, 13, 31, 50)
    parts = found.after_to_after(ends[:-1], ends[1:])
    assert parts.tolist() == [4.0, 5.0, 2.0]
    assert parts.sum() == found.after_to_after(ends[:1], ends[-1:])[0]


def test_what_went_through_an_open_valve_is_read_around_it(make_track):
    found = counted(make_track("water_total", [0.0, 0.0, 2.0, 5.0, 6.0, 6.0], period_s=10))
    start = found.from_us[0]
    # Opened at 12 s, shut at 37 s: from the reading at 10 s to the one at 40 s.
    assert found.through(start + seconds(12), start + seconds(37)).tolist() == [6.0]


def test_only_readings_wholly_within_a_stretch_tell_of_it(make_track):
    found = counted(make_track("water_total", [0.0, 1.0, 2.0, 3.0, 4.0], period_s=10))
    start = found.from_us[0]
    volume, time = found.wholly_within(start + seconds(5), start + seconds(35))
    assert (volume.tolist(), (time / SECOND_US).tolist()) == ([2.0], [20.0])


def test_volume_belongs_to_the_hour_in_which_it_was_seen(make_track):
    found = counted(make_track("water_total", [0.0, 1.0, 3.0], times_s=[0, 3600, 3610]))
    assert found.per_hour(found.from_us[0] + seconds(0, 3600, 7200)).tolist() == [1.0, 2.0]


def test_a_rate_scanned_evenly_is_summed_along_its_lines(make_track):
    found = summed(make_track("water_rate", [0.0, DAY_S, DAY_S, 0.0], period_s=10), 10 * SECOND_US)
    assert found.volume_m3.tolist() == pytest.approx([5.0, 10.0, 5.0])


def test_a_rate_that_reports_exceptions_stood_still_until_just_before(make_track):
    # Silent at nothing for an hour, then 1 m3/s: the line over the whole hour would be 1800 m3.
    found = summed(make_track("water_rate", [0.0, DAY_S], times_s=[0, 3600]), 10 * SECOND_US)
    assert found.volume_m3.tolist() == pytest.approx([5.0])


def test_noise_of_a_rate_about_zero_adds_up_to_nothing(make_track):
    rng = np.random.default_rng(3)
    found = summed(make_track("water_rate", (20.0 * rng.standard_normal(8000)).tolist(), period_s=10), 10 * SECOND_US)
    # Twenty over the root of 8000: a quarter of a m3/day.
    assert abs(found.volume_m3.sum()) < 3 * 0.25 * 80_000 / DAY_S


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    steps=st.lists(st.integers(0, 9), min_size=3, max_size=40),
    resets=st.sets(st.integers(1, 38), max_size=3),
    backwards=st.sets(st.integers(1, 38), max_size=3),
)
def test_resets_and_single_backward_pulses_leave_the_count_nearly_whole(make_track, steps, resets, backwards):
    # A register that starts high, so that a backward pulse is no fall to less than half.
    register, shown = 1000.0, []
    for k, step in enumerate(steps):
        register = 0.0 if k in resets else register + step
        shown.append(register - (1.0 if k in backwards and register > 100.0 else 0.0))
    volume = sum(by_step(make_track, shown))
    seen = sum(step for k, step in enumerate(steps) if k and k not in resets)
    assert volume <= seen + 1e-9 + len(backwards)
    assert volume >= seen - len(backwards) - 1e-9
