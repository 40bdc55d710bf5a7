import numpy as np
import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.adopt import Readings
from nightgauge.adopt.behaviour import counts_up, raw_behaviour, turns


def naive_turns(values: list[float], hysteresis: float) -> tuple[list[float], list[float]]:
    """The definition, sample by sample: a peak is the highest value until the series has come back."""
    peaks, valleys, rising = [], [], True
    top = bottom = values[0]
    for value in values:
        if rising:
            top = max(top, value)
            if value < top - hysteresis:
                peaks.append(top)
                rising, bottom = False, value
        else:
            bottom = min(bottom, value)
            if value > bottom + hysteresis:
                valleys.append(bottom)
                rising, top = True, value
    return peaks, valleys


@given(st.lists(st.integers(-20, 20).map(float), min_size=1, max_size=60), st.sampled_from([0.5, 3.0, 7.5]))
def test_turns_are_those_of_the_slow_twin(values: list[float], hysteresis: float) -> None:
    peaks, valleys = turns(np.array(values), hysteresis)
    assert (peaks.tolist(), valleys.tolist()) == naive_turns(values, hysteresis)


def readings(values: list[float]) -> Readings:
    frame = pl.DataFrame(
        {"tag_id": [0] * len(values), "time_s": [60.0 * at for at in range(len(values))], "value": values},
        schema={"tag_id": pl.Int32, "time_s": pl.Float64, "value": pl.Float64},
    )
    return Readings(("A",), frame)


def test_a_totaliser_counts_up_though_it_rolls_over_and_is_reset() -> None:
    once = [float(at) for at in range(200)]
    assert counts_up(raw_behaviour(readings([*once, *once, *once]))).to_list() == [True]


def test_a_level_does_not_count_up() -> None:
    saw = [float(at % 20) for at in range(400)]
    assert counts_up(raw_behaviour(readings(saw))).to_list() == [False]


def test_a_tag_that_never_moves_does_not_count() -> None:
    assert counts_up(raw_behaviour(readings([5.0] * 50))).to_list() == [False]
