"""When which well was on a vessel by itself, by schedule and routing."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.field.settings import Field, Routing, ScheduledTest, Vessel
from nightgauge.field.turns import routed, scheduled, turns_of

TEST = Vessel("T", "test vessel")
PLAIN = Vessel("P", "free-water knockout")


def at(hour: float) -> datetime:
    return datetime(2026, 3, 2, tzinfo=UTC) + timedelta(hours=hour)


def field_with(tests: Sequence[ScheduledTest] = (), routings: Sequence[Routing] = ()) -> Field:
    return Field(
        path=Path("field.toml"), name="F", time_zone="UTC", tags=(), streams=(), vessels=(TEST, PLAIN),
        tests=tuple(tests), routings=tuple(routings),
    )  # fmt: skip


def test_lines_of_one_well_that_overlap_are_one_turn_and_those_that_touch_are_two() -> None:
    lines = [ScheduledTest("A", "T", at(a), at(b)) for a, b in [(1, 5), (4, 8), (8, 12), (4, 8)]]
    found = scheduled(field_with(lines), "T")
    assert [(turn.start_utc, turn.end_utc) for turn in found] == [(at(1), at(8)), (at(8), at(12))]


def test_a_turn_by_routing_ends_with_the_wells_next_line_or_another_well_that_comes() -> None:
    lines = [
        Routing(at(1), "A", "T"), Routing(at(3), "C", "P"), Routing(at(5), "B", "T"), Routing(at(9), "B", "P"),
        Routing(at(20), "A", "T"),
    ]  # fmt: skip
    found = [(turn.well, turn.start_utc, turn.end_utc) for turn in routed(field_with(routings=lines), TEST)]
    assert found == [("A", at(1), at(5)), ("B", at(5), at(9)), ("A", at(20), None)]


def test_a_vessel_that_takes_several_wells_has_no_turns_by_routing() -> None:
    assert routed(field_with(routings=[Routing(at(1), "A", "P")]), PLAIN) == []


@pytest.mark.parametrize(("start", "end", "count"), [(0, 1, 0), (0, 2, 1), (6, 9, 0), (4, 30, 2)])
def test_turns_of_a_well_are_those_that_share_time(start: float, end: float, count: int) -> None:
    field = field_with([ScheduledTest("A", "P", at(1), at(6))], [Routing(at(10), "A", "T")])
    assert len(turns_of(field, "A", at(start), at(end))) == count
    assert turns_of(field, "B", at(start), at(end)) == []


_LINES = st.lists(st.tuples(st.integers(0, 20), st.integers(1, 9), st.sampled_from("AB"), st.sampled_from("TP")))


@given(_LINES, st.randoms())
def test_the_order_of_lines_and_lines_written_twice_say_nothing(lines, random) -> None:
    mixed = [*lines, *lines[:2]]
    random.shuffle(mixed)

    def of(some: list) -> list:
        field = field_with(
            [ScheduledTest(well, vessel, at(start), at(start + lasted)) for start, lasted, well, vessel in some],
            [Routing(at(start), well, vessel) for start, _, well, vessel in some],
        )
        return [*scheduled(field, "T"), *routed(field, TEST)]

    assert of(mixed) == of(lines)
