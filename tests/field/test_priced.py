"""What a field lacks to price its losses: a line a key, not a line a well."""

from collections.abc import Callable

from nightgauge.field.check import missing_for_prices
from nightgauge.field.settings import Field

Read = Callable[..., Field]
PRICES = """
[prices]
currency = "USD"
oil = "62 USD/bbl"
fuel = "4 USD/MMBtu"
"""


def well(name: str, *keys: str) -> str:
    return "\n".join(["[[well]]", f'id = "{name}"', 'vessel = "QB-101"', *keys, ""])


INDEX, SLOPE = 'productivity_index = "6 bbl/day/psi"', 'pump_curve_slope = "0.4 psi*day/bbl"'


def keys(field: Field) -> list[str]:
    return [missing.key for missing in missing_for_prices(field)]


def test_a_bare_field_lacks_wells_and_prices(read: Read) -> None:
    assert keys(read()) == ["[[well]] with vessel and productivity_index", "[prices]"]


def test_wells_that_lack_the_same_share_a_line(read: Read) -> None:
    field = read(PRICES + well("W1") + well("W2") + well("W3", INDEX) + well("W4", INDEX, SLOPE))
    assert keys(field) == ["productivity_index of wells W1, W2", "pump_curve_slope of well W3"]


def test_of_many_wells_some_are_named_and_the_others_counted(read: Read) -> None:
    field = read(PRICES + "".join(well(f"W{at}") for at in range(8)))
    assert keys(field) == ["productivity_index of wells W0, W1, W2, W3, W4 and 3 more"]


def test_a_price_that_is_not_there_is_asked_for_by_its_key(read: Read) -> None:
    field = read(PRICES.replace('fuel = "4 USD/MMBtu"', "") + well("W4", INDEX, SLOPE))
    assert keys(field) == ["prices.fuel"]


def test_a_field_that_has_it_all_lacks_nothing(read: Read) -> None:
    assert keys(read(PRICES + well("W4", INDEX, SLOPE))) == []
