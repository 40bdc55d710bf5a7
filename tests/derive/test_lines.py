import numpy as np
import pytest

from nightgauge.derive.lines import lines
from nightgauge.derive.spans import SECOND_US


def test_each_stretch_gets_the_line_that_least_squares_gives():
    # Reference: polyfit of numpy, stretch by stretch.
    rng = np.random.default_rng(2)
    time_s, value = np.cumsum(rng.integers(1, 20, 40)), rng.standard_normal(40)
    first, last, when = np.array([0, 10, 25]), np.array([10, 13, 40]), np.array([50, 120, 300])
    found = lines(time_s * SECOND_US, value, first, last, when * SECOND_US)
    for k in range(3):
        slope, offset = np.polyfit(time_s[first[k] : last[k]], value[first[k] : last[k]], 1)
        assert found.slope_per_s[k] == pytest.approx(slope)
        assert found.value[k] == pytest.approx(slope * when[k] + offset)


def test_one_sample_gives_a_level_line_and_none_gives_nothing():
    found = lines(np.array([5]) * SECOND_US, np.array([2.0]), np.array([0, 1]), np.array([1, 1]), np.array([0, 0]))
    assert found.value[0] == 2.0
    assert np.isnan(found.slope_per_s[0])
    assert np.isnan(found.value[1])
    assert found.samples.tolist() == [1, 0]
