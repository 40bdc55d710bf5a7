"""`[[anode]]`, `[[tank]]`, `[prices]` and `[vessel.heating]`: what they say, and every mistake in them told once."""

from collections.abc import Callable
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.field.equipment import read_anodes, read_prices, read_tanks
from nightgauge.field.problems import Scope
from nightgauge.field.settings import Anode, Field, Heating, Prices, Tank
from nightgauge.field.tables import Place

Read = Callable[..., Field]
Problems = Callable[..., list[str]]

DENVER = Place(ZoneInfo("America/Denver"))
VESSELS = ["QB-101", "QB-105"]
BARREL_M3, FOOT_M, POUND_KG = 0.158987294928, 0.3048, 0.45359237
ANODE = {"id": "A1", "vessel": "QB-101", "material": "magnesium"}
STRAPPING = [["0 ft", "0 bbl"], ["20 ft", "400 bbl"]]


def anodes_of(value: object) -> tuple[tuple[Anode, ...], list[str]]:
    scope = Scope("field.toml")
    return read_anodes(value, VESSELS, DENVER, scope), [str(problem) for problem in scope.problems]


def tanks_of(value: object) -> tuple[tuple[Tank, ...], list[str]]:
    scope = Scope("field.toml")
    return read_tanks(value, DENVER, scope), [str(problem) for problem in scope.problems]


def prices_of(value: object) -> tuple[Prices | None, list[str]]:
    scope = Scope("field.toml")
    return read_prices(value, DENVER, scope), [str(problem) for problem in scope.problems]


def test_an_anode_says_what_it_is() -> None:
    whole = ANODE | {
        "mass": "32 lb", "tag": "QB101_AI_1", "installed": "2025-11-01", "utilisation": "85 %", "capacity": 1100,
    }  # fmt: skip
    (one,), told = anodes_of([whole])
    assert told == []
    assert one.mass_kg == pytest.approx(32 * POUND_KG)
    assert (one.tag, one.utilisation, one.capacity_ah_per_kg) == ("QB101_AI_1", pytest.approx(0.85), 1100.0)
    assert one.installed_utc == datetime(2025, 11, 1, 6, tzinfo=UTC)


def test_an_id_of_an_anode_comes_again_on_another_vessel_only() -> None:
    assert anodes_of([ANODE, ANODE | {"vessel": "QB-105"}])[1] == []
    assert anodes_of([ANODE, ANODE])[1] == [
        "field.toml, anode A1, id: found twice on this vessel, expected each id of an anode once per vessel; rename one"
    ]


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (
            {"vessel": "QB-10"},
            'vessel: found "QB-10", expected the id of a [[vessel]]: QB-101, QB-105; did you mean QB-105?',
        ),
        (
            {"material": "magnesia"},
            'material: found "magnesia", expected one of "magnesium", "zinc", "aluminium"; did you mean magnesium?',
        ),
        (
            {"mass": 32},
            'mass: found 32, expected a mass with its unit, like "32 lb"; write number and unit between quotes',
        ),
        (
            {"utilisation": "120 %"},
            'utilisation: found "120 %", expected a share like "8 %" or 0.08, more than 0 and at most 100 %; '
            "correct utilisation",
        ),
        (
            {"capacity": "1100"},
            'capacity: found "1100", expected a number without a unit, like 1100; write it without quotes',
        ),
        (
            {"capacity": 9000},
            "capacity: found 9000, expected a number without a unit, like 1100, between 50 and 2980 A h/kg; "
            "correct capacity",
        ),
        (
            {"colour": "red"},
            "colour: found an unknown key, expected one of id, vessel, material, mass, tag, installed, utilisation, "
            "capacity; correct it or take it out",
        ),
    ],
)
def test_a_mistake_in_an_anode_is_told_once(more: dict[str, object], told: str) -> None:
    assert anodes_of([ANODE | more])[1] == [f"field.toml, anode A1, {told}"]


@pytest.mark.parametrize("missing", ["id", "vessel", "material"])
def test_what_an_anode_cannot_do_without_is_told(missing: str) -> None:
    found, told = anodes_of([{key: value for key, value in ANODE.items() if key != missing}])
    assert found == ()
    assert len(told) == 1
    assert f"{missing}: found nothing, expected" in told[0]
    assert told[0].endswith(f"; add {missing}")


def test_a_tank_has_its_strapping_in_metres() -> None:
    assert tanks_of([{"id": "T-1", "strapping": STRAPPING}]) == (
        (Tank("T-1", (0.0, pytest.approx(20 * FOOT_M)), (0.0, pytest.approx(400 * BARREL_M3))),),
        [],
    )


_PAIRS = 'two or more pairs of gauge and volume, both rising, like [["0 ft", "0 bbl"], ["20 ft", "400 bbl"]]'


@pytest.mark.parametrize(
    ("strapping", "found", "why", "remedy"),
    [
        (None, "nothing", "", "copy the tank's strapping table"),
        ("20 ft", '"20 ft"', "", "copy the tank's strapping table"),
        (STRAPPING[:1], "a list of 1", "", "copy the tank's strapping table"),
        ([STRAPPING[1], STRAPPING[0]], "a list of 2", "", "copy the tank's strapping table"),
        ([["0 ft", "0 bbl"], ["20 ft", "0 bbl"]], "a list of 2", "", "copy the tank's strapping table"),
        (
            [["0 ft", "0 bbl"], ["20", "400 bbl"]],
            "a list of 2",
            " ('20' has no unit; write it like '12 ft')",
            "correct the pair",
        ),
        ([[0, 0], [20, 400]], "a list of 2", " (a list of 2 is no pair of texts)", "correct the pair"),
        ([["0 ft"], ["20 ft", "400 bbl"]], "a list of 2", " (a list of 1 is no pair of texts)", "correct the pair"),
    ],
)
def test_a_strapping_that_cannot_be_is_told_once(strapping: object, found: str, why: str, remedy: str) -> None:
    table = {"id": "T-1"} if strapping is None else {"id": "T-1", "strapping": strapping}
    assert tanks_of([table]) == (
        (),
        [f"field.toml, tank T-1, strapping: found {found}, expected {_PAIRS}{why}; {remedy}"],
    )


def test_two_tanks_of_one_id_and_a_gauge_of_none_are_told(problems: Problems) -> None:
    tank = '[[tank]]\nid = "T-1"\nstrapping = [["0 ft", "0 bbl"], ["20 ft", "400 bbl"]]\n'
    (told,) = problems(tank + tank)
    assert told.startswith("field.toml, tank")
    assert "T-1" in told


def test_prices_are_per_unit_inside() -> None:
    found, told = prices_of({"currency": "USD", "oil": "62 USD/bbl", "gas": "2.4/Mcf", "fuel": "3.1 USD/MMBtu"})
    assert told == []
    assert found is not None
    assert found.currency == "USD"
    assert found.oil_per_m3 == pytest.approx(62 / BARREL_M3)
    assert found.gas_per_m3 == pytest.approx(2.4 / (1000 * FOOT_M**3))
    # the international table's British thermal unit is 1055.05585262 J
    assert found.fuel_per_mj == pytest.approx(3.1 / 1055.05585262, rel=1e-6)
    assert prices_of(None) == (None, [])


_IN_THIS = "in the currency of this table"


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (
            {"oil": "62 EUR/bbl"},
            f'oil: found "62 EUR/bbl", expected a price like "62 USD/bbl", {_IN_THIS}; correct oil',
        ),
        ({"oil": 62}, f'oil: found 62, expected a price like "62 USD/bbl", {_IN_THIS}; correct oil'),
        (
            {"oil": "-5 USD/bbl"},
            f'oil: found "-5 USD/bbl", expected a price like "62 USD/bbl", {_IN_THIS}; correct oil',
        ),
        (
            {"oil": "62 USD/lb"},
            f'oil: found "62 USD/lb", expected a price like "62 USD/bbl", {_IN_THIS} (\'lb\' is not a unit of volume; '
            "accepted are units like bbl, gal, ft^3, m^3); correct oil",
        ),
        (
            {"fuel": "3.1 USD"},
            f'fuel: found "3.1 USD", expected a price like "3.1 USD/MMBtu", {_IN_THIS}; correct fuel',
        ),
        (
            {"water": "1 USD/bbl"},
            "water: found an unknown key, expected one of currency, oil, gas, fuel; correct it or take it out",
        ),
    ],
)
def test_a_mistake_in_prices_is_told_once(more: dict[str, object], told: str) -> None:
    assert prices_of({"currency": "USD"} | more)[1] == [f"field.toml, prices, {told}"]


def test_prices_without_a_currency_lack_the_currency_alone() -> None:
    assert prices_of({"oil": "62 USD/bbl"}) == (
        None,
        ['field.toml, prices, currency: found nothing, expected a text, like "USD"; add currency'],
    )


def test_a_heater_says_how_hot_and_how_well(read: Read) -> None:
    found = read('[vessel.heating]\nto = "140 degF"\nefficiency = "70 %"\n').vessels[0].heating
    assert found == Heating(pytest.approx(60.0), pytest.approx(0.7))
    assert read().vessels[0].heating is None


@pytest.mark.parametrize(
    ("lines", "place", "remedy"),
    [
        ('to = "140 degF"', "heating, efficiency: found nothing", "add efficiency"),
        ('efficiency = "70 %"', "heating, to: found nothing", "add to"),
        ('to = "140 degF"\nefficiency = "0 %"', 'heating, efficiency: found "0 %"', "correct efficiency"),
        ('to = 140\nefficiency = "70 %"', "heating, to: found 140", "write number and unit between quotes"),
        ('to = "140 ft"\nefficiency = "70 %"', 'heating, to: found "140 ft"', "correct to"),
    ],
)
def test_a_mistake_in_a_heater_is_told_once(problems: Problems, lines: str, place: str, remedy: str) -> None:
    (told,) = problems(f"[vessel.heating]\n{lines}\n")
    assert told.startswith(f"field.toml, vessel QB-101, {place}, expected ")
    assert told.endswith(f"; {remedy}")


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (anodes_of(ANODE)[1], "anode: found a table, expected [[anode]] tables, in double brackets; write [[anode]]"),
        (tanks_of("T-1")[1], 'tank: found "T-1", expected [[tank]] tables, in double brackets; write [[tank]]'),
        (prices_of([])[1], "prices: found a list of 0, expected a table [prices]; write [prices] above its keys"),
    ],
)
def test_a_table_of_the_wrong_shape_is_told(told: list[str], said: str) -> None:
    assert len(told) == 1
    assert told[0].startswith(f"field.toml, {said}")


_SCALARS = st.one_of(
    st.text(max_size=8), st.integers(), st.floats(), st.booleans(),
    st.sampled_from(["A1", "QB-101", "magnesium", "32 lb", "85 %", "0 ft", "20 ft", "400 bbl", "USD", "62 USD/bbl"]),
)  # fmt: skip
_VALUES = st.recursive(_SCALARS, lambda inner: st.lists(inner, max_size=3), max_leaves=8)
_KEYS = st.sampled_from(
    ["id", "vessel", "material", "mass", "capacity", "installed", "strapping", "currency", "oil", "gas", "fuel", "x"]
)
_TABLES = st.dictionaries(_KEYS, _VALUES, max_size=6)


@given(st.one_of(_VALUES, st.lists(_TABLES, max_size=3), _TABLES))
def test_any_value_is_read_or_told(value: object) -> None:
    for reader in (anodes_of, tanks_of, prices_of):
        found, told = reader(value)
        assert all("\n" not in line for line in told)
        if isinstance(value, dict if reader is prices_of else list) and not value:
            continue
        assert found or told
