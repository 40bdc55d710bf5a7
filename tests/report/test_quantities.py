"""Display units and rounding, worked by hand from the exact definitions.

1 in = 25.4 mm, 1 US gal = 231 in3, 1 bbl = 42 gal = 0.158987294928 m3, 1 lbf/in2 = 6.894757293168 kPa (NIST SP 811,
appendix B; exact or as many figures as given there).
"""

import polars as pl
import pytest

from nightgauge.report.quantities import display_column, duration, in_display_units, rounded, shown
from nightgauge.units import System


@pytest.mark.parametrize(
    ("value", "unit", "system", "text"),
    [
        (1.1684, "m", "oilfield", "46.0 in"),  # 46 x 0.0254
        (1.1684, "m", "metric", "1,168 mm"),
        (310.26407819, "kPag", "oilfield", "45.0 psig"),  # 45 x 6.894757293
        (28.26850449, "kPa", "oilfield", "4.1 psi"),
        (302.0758603632, "m3/day", "oilfield", "1,900 bbl/day"),  # 1900 x 0.158987294928
        (35.0, "degC", "oilfield", "95 degF"),
        (0.0123, "1", "oilfield", "1.2 %"),
        (0.966, "1", "oilfield", "97 %"),
        (9.47, "min", "oilfield", "9.5 min"),
        (12.0, "", "oilfield", "12"),
        (-0.001, "kPa", "oilfield", "0.0 psi"),
    ],
)
def test_a_quantity_reads_in_the_fields_units(value: float, unit: str, system: System, text: str) -> None:
    assert str(shown(value, unit, system)) == text


def test_gas_and_liquid_rates_share_an_inside_unit_but_not_a_display_unit() -> None:
    # 1 ft3 = 0.028316846592 m3, so 1 Mcf/day = 28.316846592 m3/day.
    number, unit = in_display_units(28.316846592, "m3/day", "oilfield", about="gas rate")
    assert number == pytest.approx(1.0)
    assert unit == "Mcf/day"
    assert in_display_units(28.316846592, "m3/day", "oilfield", about="water rate")[1] == "bbl/day"


def test_a_column_converts_like_its_values_and_keeps_nulls() -> None:
    column, unit = display_column(pl.Series([310.26407819, None]), "kPag", "oilfield")
    assert unit == "psig"
    assert column[0] == pytest.approx(45.0)
    assert column[1] is None


def test_an_unknown_unit_is_handed_on_unchanged() -> None:
    assert in_display_units(3.0, "gpm/psi^0.5", "oilfield") == (3.0, "gpm/psi^0.5")


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_what_is_no_number_reads_as_not_known(number: float) -> None:
    assert rounded(number) == "not known"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (40, "40 s"),
        (2400, "40 min"),
        (9 * 3600, "9 h"),
        (68 * 3600, "68 h"),
        (16 * 86400, "16 days"),
        (4.5 * 86400, "4.5 days"),
    ],
)
def test_a_duration_reads_in_the_unit_a_person_would_use(seconds: float, text: str) -> None:
    assert duration(seconds) == text
