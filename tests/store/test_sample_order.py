"""Samples in order, whatever order they came in."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.store import sample_order
from nightgauge.store.sample_order import in_order
from nightgauge.vocabulary.frames import SAMPLES

START = datetime(2026, 3, 2, tzinfo=UTC)


def stored(keys: list[tuple[int, int]]) -> pl.DataFrame:
    """Samples of tags at minutes, numbered in the order in which they are given."""
    rows = [(tag, START + timedelta(minutes=minute), float(n), None, "good", 1) for n, (tag, minute) in enumerate(keys)]
    return pl.DataFrame(rows, schema=SAMPLES.schema, orient="row")


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 9)), unique=True))
def test_samples_in_any_order_come_as_the_frame_orders_them(keys: list[tuple[int, int]]) -> None:
    assert in_order(stored(keys)).equals(SAMPLES.build(stored(keys)))


@pytest.mark.parametrize("most", [0, 5_000])
def test_files_that_follow_one_another_are_put_together_tag_by_tag(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sample_order, "_MOST_RUNS", most)
    files = stored([(tag, minute) for first in (0, 5) for tag in (1, 2) for minute in range(first, first + 5)])
    assert in_order(files).select("tag_id", "value").rows() == [
        (1, 0.0), (1, 1.0), (1, 2.0), (1, 3.0), (1, 4.0), (1, 10.0), (1, 11.0), (1, 12.0), (1, 13.0), (1, 14.0),
        (2, 5.0), (2, 6.0), (2, 7.0), (2, 8.0), (2, 9.0), (2, 15.0), (2, 16.0), (2, 17.0), (2, 18.0), (2, 19.0),
    ]  # fmt: skip
