"""Vessels in groups: none lost, none twice, and each with its own rows."""

import polars as pl
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from nightgauge.field.settings import Vessel
from nightgauge.pipeline.groups import GROUP, ByVessel, in_groups
from nightgauge.vocabulary.frames import ANODES


@given(st.integers(0, 3 * GROUP + 1))
def test_groups_hold_every_vessel_once_in_order(count: int) -> None:
    vessels = [Vessel(f"V-{number}", "separator") for number in range(count)]
    groups = list(in_groups(vessels))
    assert [vessel for group in groups for vessel in group] == vessels
    assert all(1 <= len(group) <= GROUP for group in groups)
    assert len(groups) == -(-count // GROUP)


def test_a_vessel_has_the_rows_that_a_filter_finds_and_one_without_rows_an_empty_frame() -> None:
    rows = ANODES.build({"vessel": ["B", "A", "B"], "anode": ["2", "1", "1"]})
    parted = ByVessel(ANODES, rows)
    for vessel in ("A", "B"):
        assert_frame_equal(parted.of(vessel), rows.filter(pl.col("vessel") == vessel))
    assert parted.of("C").equals(ANODES.empty())
