"""Reading a table of field.toml by its keys."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.field.keys import (
    ANODE,
    FIELD,
    HEATING,
    OIL_VALVE,
    OUTAGE,
    PRICES,
    TANK,
    VESSEL,
    WATER_DUMP,
    WELL,
    Key,
)
from nightgauge.field.problems import Scope
from nightgauge.field.tables import Place, ValueProblem, read_table, read_value
from nightgauge.units import DIMENSIONS

PLACE = Place(ZoneInfo("UTC"), 100.0)


def problems_of(table: dict[str, object], *keys: Key, also: tuple[str, ...] = ()) -> list[str]:
    scope = Scope("field.toml")
    read_table(table, keys, PLACE, scope, also)
    return [str(problem) for problem in scope.problems]


def test_values_arrive_under_the_names_of_the_object() -> None:
    keys = (Key("a", "first"), Key("b", "second_m", "quantity", "length"), Key("c", "third"))
    scope = Scope("field.toml")
    assert read_table({"b": "2 cm", "a": " x "}, keys, PLACE, scope) == {"first": "x", "second_m": 0.02}
    assert scope.problems == []


def test_tables_within_are_known_and_left_to_the_caller() -> None:
    assert problems_of({"inner": {}}, Key("a", "a"), also=("inner",)) == []
    assert "one of a, inner; correct it or take it out" in problems_of({"other": {}}, Key("a", "a"), also=("inner",))[0]


def test_a_choice_is_one_of_the_texts() -> None:
    key = Key("action", "action", choices=("snap", "throttling"))
    assert read_value("snap", key, PLACE) == "snap"
    with pytest.raises(ValueProblem, match='one of "snap", "throttling"'):
        read_value("Snap", key, PLACE)


def test_a_text_may_hold_any_letter_and_no_control_character() -> None:
    key = Key("name", "name")
    assert read_value(" Gräfin\u00a0№ 4 ", key, PLACE) == "Gräfin\u00a0№ 4"
    for text in ("a\nb", "a\x00b", "a\u2028b"):
        with pytest.raises(ValueProblem, match="on one line and without control characters"):
            read_value(text, key, PLACE)


def test_a_pressure_below_vacuum_is_impossible() -> None:
    key = Key("downstream_pressure", "downstream_pressure_kpag", "quantity", "pressure")
    assert read_value("-99 kPa", key, PLACE) == -99.0
    assert read_value("1 kPaa", key, PLACE) == -99.0
    with pytest.raises(ValueProblem, match="above absolute vacuum"):
        read_value("-100 kPa", key, PLACE)


@pytest.mark.parametrize(("value", "share"), [("8 %", 0.08), (0.08, 0.08), ("0.08", 0.08), (1, 1.0)])
def test_a_share_is_a_percentage_or_a_pure_number(value: object, share: float) -> None:
    assert read_value(value, Key("share", "share", "quantity", "fraction"), PLACE) == pytest.approx(share)


@pytest.mark.parametrize("value", [True, None, [], {}])
def test_no_other_type_is_a_share(value: object) -> None:
    with pytest.raises(ValueProblem, match="a share like"):
        read_value(value, Key("share", "share", "quantity", "fraction"), PLACE)


EVERY_KEY = [*FIELD, *VESSEL, *WATER_DUMP, *OIL_VALVE, *HEATING, *WELL, *ANODE, *TANK, *PRICES, *OUTAGE]


def test_every_example_that_a_message_gives_is_accepted() -> None:
    examples = {"true": True, "90": 90, "1.08": 1.08, "0.75": 0.75, "1.002": 1.002, "0.985": 0.985, "1100": 1100}
    for key in EVERY_KEY:
        for text in filter(None, [key.example]):
            value: object = examples.get(text, text.strip('"'))
            read_value([value] if key.kind == "texts" else value, key, PLACE)


def test_every_quantity_names_a_dimension_and_its_attribute_ends_in_the_inside_unit() -> None:
    suffix = {
        "length": "_m", "pressure": ("_kpag", "_kpa"), "gravity": "_degapi", "temperature": "_c",
        "productivity index": "_m3_per_day_per_kpa", "pump curve slope": "_kpa_day_per_m3",
        "fraction": ("_fraction", "efficiency", "utilisation"), "mass": "_kg", "duration": "_s",
    }  # fmt: skip
    for key in EVERY_KEY:
        if key.kind == "quantity":
            assert key.dimension in DIMENSIONS
            assert key.attribute.endswith(suffix[key.dimension]), key


@given(
    st.sampled_from(EVERY_KEY),
    st.one_of(st.text(), st.integers(), st.floats(), st.booleans(), st.none(), st.lists(st.text())),
)
def test_any_value_is_read_or_told(key: Key, value: object) -> None:
    lines = problems_of({key.name: value}, key)
    assert len(lines) <= 1
    assert all(line.startswith(f"field.toml, {key.name}: found ") and line.isprintable() for line in lines)
