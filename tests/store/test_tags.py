"""The table of tags follows tags.csv; stored samples are converted, moved or left as that asks."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightgauge.store import Writer
from nightgauge.store.ranges import TICK
from nightgauge.units import conversion


def land(writer: Writer, make: Any, rows: list[Any], name: str = "a.csv", tags: tuple[str, ...] = ()) -> None:
    """Land rows and forget what they changed, so that only the tags' doing is seen after."""
    writer.land(make.export(name), make.parsed(rows, tags=tags), make.read_at)
    writer._con.execute("DELETE FROM changed_range")


def values(writer: Writer, make: Any, vessel: str = "V-1") -> list[float | None]:
    found: list[float | None] = writer.vessel_samples(vessel, make.at(-1), make.at(9_999))["value"].to_list()
    return found


def test_the_same_tags_again_change_nothing(writer: Writer, make: Any) -> None:
    first = writer.sync_tags(make.field(), make.read_at)
    table = writer._con.sql("FROM tag").pl()
    again = writer.sync_tags(make.field(), make.at(999_999))
    assert again == first
    assert [tag_id for tag_id, _ in first.ids] == [1, 2, 3, 4]
    assert writer._con.sql("FROM tag").pl().equals(table)
    assert writer.changed_ranges().is_empty()


def test_order_of_rows_in_tags_csv_does_not_renumber(writer: Writer, make: Any) -> None:
    turned = writer.sync_tags(make.field([make.other_level, make.switch, make.pressure, make.level]), make.read_at)
    assert [tag_id for tag_id, _ in turned.ids] == [4, 3, 2, 1]


def test_another_unit_converts_what_is_stored_and_marks_its_stretch(writer: Writer, make: Any) -> None:
    in_m = conversion("in", "length").apply
    land(
        writer,
        make,
        [(1, 0, in_m(46.0), "good"), (1, 9, None, "bad"), (1, 20, in_m(42.5), "uncertain"), (4, 5, 1.0, "good")],
    )
    synced = writer.sync_tags(make.field([make.tag("LI-1", "interface_level", "cm"), make.other_level]), make.read_at)
    assert synced.reread == frozenset()
    # 46 and 42.5 were the raw numbers; read as centimetres they are hundredths of a metre.
    assert values(writer, make) == [0.46, None, 0.425]
    assert values(writer, make, "V-2") == [1.0]
    assert writer.changed_ranges().rows() == [("V-1", make.at(0), make.at(20) + TICK)]


@given(
    raws=st.lists(st.decimals(-9999, 9999, places=4), min_size=1, max_size=20),
    units=st.permutations(["psig", "kPag", "psia", "barg", "kPa"]),
)
@settings(max_examples=10, deadline=None)
def test_a_value_converted_in_place_equals_a_fresh_reading_to_the_bit(
    rolled_back: Any, make: Any, raws: list[Any], units: list[str]
) -> None:
    with rolled_back() as writer:
        fresh = conversion(units[0], "pressure").apply
        writer.sync_tags(make.field([make.tag("PI-1", "vessel_pressure", units[0])]), make.read_at)
        land(writer, make, [(2, float(n), fresh(float(raw)), "good") for n, raw in enumerate(raws)])
        for unit in units[1:]:
            writer.sync_tags(make.field([make.tag("PI-1", "vessel_pressure", unit)]), make.read_at)
            fresh = conversion(unit, "pressure").apply
            assert values(writer, make) == [fresh(float(raw)) for raw in raws]


def test_a_value_that_is_no_short_decimal_is_converted_to_the_last_digits(writer: Writer, make: Any) -> None:
    third = 1.0 / 3.0
    land(writer, make, [(1, 0, conversion("in", "length").apply(third), "good")])
    writer.sync_tags(make.field([make.tag("LI-1", "interface_level", "m")]), make.read_at)
    assert values(writer, make) == pytest.approx([third], rel=1e-15)  # two roundings of double precision


def test_a_tag_moved_to_another_vessel_marks_both(writer: Writer, make: Any) -> None:
    land(writer, make, [(1, 0, 1.0, "good"), (1, 30, 1.0, "good")])
    synced = writer.sync_tags(make.field([replace(make.level, vessel="V-2")]), make.read_at)
    assert synced.reread == frozenset()
    assert values(writer, make) == []
    assert values(writer, make, "V-2") == [1.0, 1.0]
    assert writer.changed_ranges().rows() == [(v, make.at(0), make.at(30) + TICK) for v in ("V-1", "V-2")]


def test_another_longest_silence_marks_but_moves_no_sample(writer: Writer, make: Any) -> None:
    land(writer, make, [(1, 0, 1.0, "good")])
    writer.sync_tags(make.field([replace(make.level, max_gap_s=7200.0)]), make.read_at)
    samples = writer.vessel_samples("V-1", make.at(0), make.at(1))
    assert samples.select("value", "max_gap_s").rows() == [(1.0, 7200.0)]
    assert writer.changed_ranges()["vessel"].to_list() == ["V-1"]


def test_a_removed_tag_keeps_its_samples_but_speaks_for_no_vessel(writer: Writer, make: Any) -> None:
    land(writer, make, [(1, 0, 1.0, "good")], tags=("LI-1",))
    synced = writer.sync_tags(make.field([make.pressure]), make.read_at)
    assert synced.reread == frozenset()
    assert values(writer, make) == []
    assert writer.data_span("V-1") is None
    assert writer.tag_activity(make.read_at)["tag"].to_list() == ["PI-1"]
    assert writer._con.sql("SELECT count(*) FROM sample").fetchall() == [(1,)]
    assert writer._con.sql("SELECT removed_utc FROM tag WHERE tag = 'LI-1'").fetchall() == [(make.read_at,)]
    assert writer.changed_ranges()["vessel"].to_list() == ["V-1"]


def test_a_tag_that_comes_back_has_its_number_and_samples_and_is_read_again(writer: Writer, make: Any) -> None:
    land(writer, make, [(1, 0, 1.0, "good")], tags=("LI-1",))
    writer.sync_tags(make.field([make.pressure]), make.read_at)
    synced = writer.sync_tags(make.field([make.pressure, make.level]), make.read_at)
    assert {row.tag: tag_id for tag_id, row in synced.ids} == {"PI-1": 2, "LI-1": 1}
    assert synced.reread == {"LI-1"}
    assert values(writer, make) == [1.0]


def test_other_states_are_read_again_and_the_old_numbers_wait_apart(writer: Writer, make: Any) -> None:
    land(writer, make, [(3, 0, 1.0, "good")], tags=("ZS-1",))
    turned = replace(make.switch, states={"OPEN": 0.0, "SHUT": 1.0})
    synced = writer.sync_tags(make.field([turned]), make.read_at)
    assert synced.reread == {"ZS-1"}
    assert synced.ids[0][0] == 5
    assert values(writer, make) == []


def test_another_dimension_is_read_again_and_carries_raw_numbers_over_until_then(writer: Writer, make: Any) -> None:
    land(writer, make, [(1, 0, conversion("in", "length").apply(46.0), "good")], tags=("LI-1",))
    synced = writer.sync_tags(make.field([make.tag("LI-1", "vessel_pressure", "kPag")]), make.read_at)
    assert synced.reread == {"LI-1"}
    assert values(writer, make) == [46.0]


def test_a_row_cut_short_takes_only_its_own_dates_and_marks_only_the_rest(writer: Writer, make: Any) -> None:
    land(writer, make, [(1, minute, 1.0, "good") for minute in (0, 10, 20, 30)], tags=("LI-1",))
    synced = writer.sync_tags(make.field([replace(make.level, to_utc=make.at(20))]), make.read_at)
    assert synced.reread == {"LI-1"}
    assert values(writer, make) == [1.0, 1.0]
    assert writer.changed_ranges().rows() == [("V-1", make.at(20), make.at(30) + TICK)]


def test_two_dated_rows_of_one_name_have_numbers_of_their_own(writer: Writer, make: Any) -> None:
    rows = [replace(make.level, to_utc=make.at(20)), make.tag("LI-1", "interface_level", "cm", from_utc=make.at(20))]
    synced = writer.sync_tags(make.field(rows), make.read_at)
    assert [tag_id for tag_id, _ in synced.ids] == [1, 5]
    assert writer.sync_tags(make.field(rows), make.read_at) == synced


def test_another_zone_of_the_field_owes_every_export_again(writer: Writer, make: Any) -> None:
    land(writer, make, [(1, 0, 1.0, "good")], tags=("LI-1", "UNKNOWN"))
    assert writer.sync_tags(make.field(), make.read_at).reread == frozenset()
    assert writer.sync_tags(make.field(time_zone="UTC"), make.read_at).reread == {"LI-1", "UNKNOWN"}
