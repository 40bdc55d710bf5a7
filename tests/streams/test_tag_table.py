"""From a name and a time to the row of tags.csv."""

from datetime import UTC, datetime

import numpy as np
import pytest

from nightgauge.streams import TagTable
from nightgauge.streams.tag_table import folded_text

from .conftest import tag_row


def us(*moment):
    return int(datetime(*moment, tzinfo=UTC).timestamp() * 1e6)


def day(month):
    return datetime(2026, month, 1, tzinfo=UTC)


@pytest.fixture
def table():
    return TagTable(
        [
            (5, tag_row("D", "temperature", from_utc=day(6))),
            (3, tag_row("P", "vessel_pressure")),
            (9, tag_row("D", "temperature", to_utc=day(3))),
            (4, tag_row("D", "temperature", from_utc=day(3), to_utc=day(5))),
            (8, tag_row("F", "temperature", from_utc=day(3))),
        ]
    )


@pytest.mark.parametrize(
    ("tag", "time_us", "tag_id"),
    [
        ("P", us(1990, 1, 1), 3),
        ("D", us(1990, 1, 1), 9),
        ("D", us(2026, 3, 1) - 1, 9),
        ("D", us(2026, 3, 1), 4),
        ("D", us(2026, 5, 1) - 1, 4),
        ("D", us(2026, 5, 1), None),
        ("D", us(2026, 6, 1), 5),
        ("D", us(2099, 6, 1), 5),
        ("F", us(2026, 3, 1) - 1, None),
        ("F", us(2026, 3, 1), 8),
    ],
)
def test_a_dated_row_holds_from_its_start_up_to_its_end(table, tag, time_us, tag_id):
    (index,) = table.index_at(np.array([table.groups[tag]], np.int32), np.array([time_us]))
    assert (table.tag_ids[index] if index >= 0 else None) == tag_id


def test_rows_of_many_tags_are_told_apart_at_once(table):
    group = np.array([table.groups[tag] for tag in ("F", "D", "P", "F", "D")], np.int32)
    times = np.array([us(2026, 4, 1), us(2026, 7, 1), us(2026, 4, 1), us(2026, 1, 1), us(2026, 1, 1)])
    index = table.index_at(group, times)
    assert [int(table.tag_ids[i]) if i >= 0 else None for i in index] == [8, 5, 3, None, 9]


def test_an_empty_table_knows_no_tag():
    table = TagTable([])
    assert table.groups == {}
    assert table.states.is_empty()
    assert table.numeric_states.is_empty()


def test_folded_texts_that_disagree_are_left_out():
    states = {"Open": 1.0, "OPEN": 0.0, "Shut Off": 0.0, "SHUTOFF": 0.0}
    table = TagTable([(1, tag_row("S", "water_dump_open", states=states))])
    assert table.folded_states.rows() == [(0, "shutoff", 0.0)]
    assert table.states.height == 4


def test_texts_that_are_numbers_are_known_as_numbers():
    table = TagTable([(1, tag_row("S", "water_dump_open", states={"0": 1.0, "1.0": 0.0, "ON": 1.0}))])
    assert table.numeric_states.rows() == [(0, 0.0, 1.0), (0, 1.0, 0.0)]


def test_folding_drops_case_and_spaces():
    assert folded_text(" Shut \t OFF ") == "shutoff"
