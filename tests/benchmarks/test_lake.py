"""The bench of the lake still runs; its figures are no test."""

from lake import run


def test_a_small_day_is_landed_and_read_in_both_homes() -> None:
    figures = run(2, days=1, period_s=600)
    assert figures["samples_a_day"] == 2 * 10 * 144
    assert figures["lake_bytes_per_sample"] > 0.0
