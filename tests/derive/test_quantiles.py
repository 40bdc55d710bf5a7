import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nightgauge.derive.known import Pieces
from nightgauge.derive.quantiles import quantiles
from nightgauge.derive.spans import SECOND_US

pieces_of_time = st.lists(st.tuples(st.integers(1, 59_000_000), st.integers(-5, 5)), min_size=1, max_size=15)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(parts=pieces_of_time, share=st.sampled_from([0.1, 0.5, 0.9]))
def test_quantiles_are_those_of_a_plain_walk(naive, parts, share):
    edges = np.concatenate([[0], np.cumsum([length for length, _ in parts])])
    value = np.array([v for _, v in parts], dtype=np.float64)
    cut = Pieces(np.ones(len(parts), dtype=np.intp), edges[:-1], edges[1:], value, value)
    found = quantiles(cut, 3, (share,))[0]
    assert found[1] == naive.quantile_of_steps(parts, share)
    assert np.isnan(found[[0, 2]]).all()


def test_quantiles_of_a_long_line_are_those_of_its_minutes():
    cut = Pieces(
        np.zeros(1, dtype=np.intp), np.array([0]), np.array([3600 * SECOND_US]), np.array([0.0]), np.array([60.0])
    )
    assert quantiles(cut, 1, (0.5,))[0][0] == pytest.approx(29.5)
