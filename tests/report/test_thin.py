"""Thinning to pixels: extremes stay, gaps stay, never more points than pixels."""

from datetime import UTC, datetime, timedelta

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.report.thin import known_runs, thinned
from nightgauge.vocabulary.frames import VESSEL_SAMPLES

START = datetime(2026, 5, 1, tzinfo=UTC)


def _runs(values: list[float], step_s: float = 10.0) -> pl.DataFrame:
    times = [START + timedelta(seconds=step_s * at) for at in range(len(values))]
    frame = {"time_utc": times, "value": values, "run": [0] * len(values)}
    return pl.DataFrame(frame, schema={"time_utc": pl.Datetime("us", "UTC"), "value": pl.Float64, "run": pl.Int64})


def _samples(values: list[float | None], step_s: float, flags: list[str] | None = None) -> pl.DataFrame:
    return VESSEL_SAMPLES.build({
        "signal": ["interface_level"] * len(values),
        "time_utc": [START + timedelta(seconds=step_s * at) for at in range(len(values))],
        "value": values, "flag": flags or ["good"] * len(values), "max_gap_s": [3600.0] * len(values),
    })  # fmt: skip


@given(values=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=300), pixels=st.integers(1, 90))
def test_points_never_outnumber_pixels_and_the_extremes_stay(values: list[float], pixels: int) -> None:
    end = START + timedelta(seconds=10 * len(values))
    kept = thinned(_runs(values), START, end, pixels)
    assert len(kept) <= max(pixels, 3)
    assert kept["value"].min() == min(values)
    assert kept["value"].max() == max(values)
    assert kept["time_utc"].is_sorted()


@given(values=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=100), pixels=st.integers(3, 60))
def test_each_column_keeps_its_own_extremes(values: list[float], pixels: int) -> None:
    end = START + timedelta(seconds=10 * len(values))
    kept = thinned(_runs(values), START, end, pixels)
    columns, points = pixels // 3, list(zip(kept["time_utc"], kept["value"], strict=True))
    for column in range(columns):
        inside = [v for at, v in enumerate(values) if int(10 * at / (10 * len(values)) * columns) == column]
        shown = [v for time, v in points if int((time - START) / (end - START) * columns) == column]
        assert (min(inside), max(inside)) == (min(shown), max(shown)) if inside else not shown


def test_a_single_spike_among_a_million_points_survives() -> None:
    values = pl.Series([0.0]).extend_constant(0.0, 999_999).to_list()
    values[777_777] = 9.0
    kept = thinned(_runs(values, step_s=1.0), START, START + timedelta(seconds=1e6), 660)
    assert (START + timedelta(seconds=777_777), 9.0) in set(kept.iter_rows())


def test_a_gap_longer_than_the_signal_allows_breaks_the_line() -> None:
    samples = pl.concat(
        [_samples([1.0, 2.0], 60), _samples([3.0, 4.0], 60).with_columns(pl.col("time_utc") + timedelta(hours=5))]
    )
    kept = thinned(known_runs(samples), START, START + timedelta(hours=6), 600)
    assert kept["value"].to_list() == [1.0, 2.0, None, 3.0, 4.0]


def test_a_bad_sample_breaks_the_line_until_the_next_good_one() -> None:
    samples = _samples([1.0, 9.0, 2.0], 600, ["good", "bad", "good"])
    kept = thinned(known_runs(samples), START, START + timedelta(hours=1), 600)
    assert kept["value"].to_list() == [1.0, None, 2.0]


def test_nothing_in_the_span_is_an_empty_trace() -> None:
    kept = thinned(_runs([1.0]), START + timedelta(days=1), START + timedelta(days=2), 600)
    assert kept.is_empty()
