import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.statistics.oscillation import swings

HOUR = np.arange(0.0, 3600.0, 10.0)


def sine(times, period, height):
    return 0.5 * height * np.sin(2.0 * np.pi * times / period)


def triangle(times, period, height):
    return height * (2.0 * np.abs((times / period) % 1.0 - 0.5) - 0.5)


def naive_crossings(values, least_height):
    """Walk along a series that lies about 0 and count how often it passes from one side clearly to the other."""
    band = max(0.5 * np.sqrt(np.mean(np.square(values))), 0.5 * least_height)
    side, count = 0, 0
    for value in values:
        now = int(value > band) - int(value < -band)
        if now and side and now != side:
            count += 1
        side = now or side
    return count


@pytest.mark.parametrize("shape", [sine, triangle, lambda t, p, h: 0.5 * h * np.sign(sine(t, p, h) + 1e-9)])
@pytest.mark.parametrize(("period", "height"), [(300.0, 2.0), (900.0, 0.04), (1100.0, 35.0)])
def test_a_clean_swing_shows_its_height_and_period(shape, period, height):
    told = swings(shape(HOUR, period, height), HOUR)
    assert told.period[0] == pytest.approx(period, rel=0.03)
    # An hour holds few whole swings of the long ones, and the straight line takes a part of the rest.
    assert told.height[0] == pytest.approx(height, rel=0.12)
    assert told.regularity[0] > 0.93


def test_noise_on_a_swing_does_not_change_its_period(rng):
    told = swings(sine(HOUR, 400.0, 2.0) + 0.15 * rng.standard_normal(360), HOUR)
    assert told.crossings[0] == pytest.approx(18, abs=1)
    assert told.period[0] == pytest.approx(400.0, rel=0.02)
    assert told.regularity[0] > 0.85


def test_regularity_and_height_are_those_worked_by_hand():
    # Half swings of 100, 200, 100, 300, 150, 150, 250, 120 s between 1 and -1, every second crest 0.4 higher.
    halves = np.array([100, 200, 100, 300, 150, 150, 250, 120])
    sides = np.resize([1.0, -1.0, 1.4, -1.0], 8)
    values = np.repeat(sides, halves)
    told = swings(values, np.arange(float(values.size)))
    crossings = np.cumsum(halves)[:-1]
    periods = crossings[2:] - crossings[:-2]
    assert told.crossings[0] == 7
    assert told.period[0] == pytest.approx(periods.mean(), abs=0.5)
    assert told.regularity[0] == pytest.approx(1 - np.sqrt(2) * periods.std() / periods.mean(), abs=1e-3)
    # The runs cut by the ends left out, the swings are 2.4, 2.4, 2.0, 2.0, 2.4; the line taken out tilts them a little.
    assert told.height[0] == pytest.approx(2.4, abs=0.1)


def test_a_random_walk_is_not_regular(rng):
    found = [swings(np.cumsum(rng.standard_normal(360)), HOUR).regularity[0] for _ in range(60)]
    assert np.nanmedian(found) < 0.6


def test_a_drifting_line_is_taken_out():
    told = swings(sine(HOUR, 600.0, 2.0) + 20.0 + HOUR / 300.0, HOUR)
    assert told.period[0] == pytest.approx(600.0, rel=0.02)
    assert told.height[0] == pytest.approx(2.0, rel=0.1)


def test_samples_stored_by_exception_show_the_same_period(rng):
    kept = np.sort(rng.choice(360, 70, replace=False))
    told = swings(sine(HOUR, 600.0, 2.0)[kept], HOUR[kept])
    assert told.period[0] == pytest.approx(600.0, rel=0.03)


def test_swings_within_the_dead_band_are_none():
    told = swings(sine(HOUR, 600.0, 0.8), HOUR, least_height=1.0)
    assert told.crossings[0] == 0
    assert np.isnan([told.height[0], told.period[0], told.regularity[0]]).all()


def test_a_still_signal_does_not_swing():
    told = swings(np.full(360, 45.1), HOUR)
    assert told.crossings[0] == 0


def test_a_single_dump_in_an_hour_has_no_period():
    told = swings(np.where(np.abs(HOUR - 1800.0) < 540.0, -1.0, 0.0), HOUR)
    assert told.crossings[0] == 2
    assert np.isnan(told.period[0])


def test_no_sample_gives_no_group():
    assert swings(np.array([np.nan, np.nan]), np.array([0.0, 1.0])).group.size == 0


def test_missing_samples_are_passed_over():
    gappy = sine(HOUR, 600.0, 2.0)
    holed = np.where(HOUR % 50.0 == 0.0, np.nan, gappy)
    alone = swings(gappy[HOUR % 50.0 != 0.0], HOUR[HOUR % 50.0 != 0.0])
    assert swings(holed, HOUR).period[0] == alone.period[0]


@given(st.lists(st.floats(-1.0, 1.0), min_size=4, max_size=80), st.floats(0.0, 1.0))
def test_crossings_are_those_of_walking_along(values, least_height):
    # About a straight line by construction: residuals of numpy's own fit.
    times = np.arange(float(len(values)))
    about = np.array(values) - np.polyval(np.polyfit(times, values, 1), times)
    told = swings(about, times, least_height=least_height)
    if np.abs(about).max() > 1e-6 and np.min(np.abs(np.abs(about) - 0.5 * max(about.std(), least_height))) > 1e-9:
        assert told.crossings[0] == naive_crossings(about, least_height)


def test_every_hour_of_a_batch_is_told_as_if_alone_to_the_bit(rng):
    times = 1.7e9 + np.sort(rng.uniform(0.0, 5 * 3600.0, 900))
    values = sine(times, 700.0, 3.0) + rng.standard_normal(900).cumsum() * 0.1
    values[rng.uniform(size=900) < 0.05] = np.nan
    hours = np.floor(times / 3600.0).astype(np.int64)
    batch = swings(values, times, hours, least_height=0.2)
    for place, hour in enumerate(batch.group):
        alone = swings(values[hours == hour], times[hours == hour], hours[hours == hour], least_height=0.2)
        for name in ("crossings", "height", "period", "regularity"):
            np.testing.assert_array_equal(getattr(batch, name)[place], getattr(alone, name)[0])


@given(st.floats(0.1, 100.0), st.floats(-50.0, 50.0))
def test_swings_follow_the_unit(scale, shift):
    base = sine(HOUR, 640.0, 2.0) + 0.3 * np.sin(HOUR)
    plain, moved = swings(base, HOUR), swings(scale * base + shift, HOUR)
    assert moved.crossings[0] == plain.crossings[0]
    assert moved.height[0] == pytest.approx(scale * plain.height[0], rel=1e-6)
    assert moved.period[0] == pytest.approx(plain.period[0], rel=1e-6)
