import numpy as np
import pytest
import scipy.constants
from chemicals import MW
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.physics.anodes import (
    ANODE_MATERIALS,
    FARADAY_C_PER_MOL,
    aluminium_capacity_ah_per_kg,
    life_left_years,
    mass_consumed_kg,
    mass_needed_kg,
    usable_mass_kg,
)

LB = 0.45359237  # [kg]


def test_the_faraday_constant_is_codatas():
    assert pytest.approx(scipy.constants.value("Faraday constant"), rel=1e-10) == FARADAY_C_PER_MOL


@pytest.mark.parametrize(
    # z F / (3600 M) by hand [A h/kg]; printed: Roberge p. 554 and an abstract in Corrosion vol. 1 (1945), in A h/lb
    ("name", "element", "by_hand", "printed", "share"),
    [
        ("magnesium", "magnesium", 2205.429, 1000.0 / LB, 2e-3),
        ("magnesium", "magnesium", 2205.429, 2200.0, 3e-3),
        ("zinc", "zinc", 819.868, 372.0 / LB, 1e-3),
        ("aluminium", "aluminum", 2979.980, 2960.0, 8e-3),  # of an alloy
    ],
)
def test_theoretical_capacity_is_faradays(name, element, by_hand, printed, share):
    material = ANODE_MATERIALS[name]
    assert material.theoretical_capacity_ah_per_kg == pytest.approx(by_hand, rel=1e-6)
    assert material.theoretical_capacity_ah_per_kg == pytest.approx(printed, rel=share)
    assert material.molar_mass_g_per_mol == pytest.approx(MW(element), rel=1e-6)


@pytest.mark.parametrize(
    # [lb] eaten by an ampere in a year of 8760 h at full efficiency, by Faraday's law
    ("name", "pounds"),
    [("magnesium", 8.75680), ("zinc", 23.5556), ("aluminium", 6.48075)],
)
def test_an_ampere_year_eats_what_faraday_says(name, pounds):
    capacity = ANODE_MATERIALS[name].theoretical_capacity_ah_per_kg
    assert mass_consumed_kg(8760.0, capacity) / LB == pytest.approx(pounds, rel=1e-5)


def test_practical_capacities_are_the_stated_shares_of_faradays():
    # Roberge p. 554: magnesium about 50 %, 1100 A h/kg. The abstract of 1945: zinc 90 %, which eats 26.173 lb/(A year).
    assert ANODE_MATERIALS["magnesium"].efficiency == pytest.approx(0.50, abs=5e-3)
    zinc = ANODE_MATERIALS["zinc"]
    assert zinc.efficiency == pytest.approx(0.90, abs=1e-3)
    assert mass_consumed_kg(8760.0, zinc.practical_capacity_ah_per_kg) / LB == pytest.approx(26.173, rel=1e-3)


def test_what_is_stated_is_below_what_nature_allows_and_has_a_source():
    for material in ANODE_MATERIALS.values():
        assert 0.0 < material.efficiency < 1.0
        assert 0.0 < material.utilisation < 1.0
        assert "DNV-RP-B401" in material.source


def test_warm_water_takes_capacity_off_aluminium():
    # ABS Guidance Notes (2017), read in a secondary copy: 1460 at 40 degC, 920 at 60 degC.
    found = aluminium_capacity_ah_per_kg(np.array([5.0, 20.0, 40.0, 60.0, 95.0, np.nan]))
    np.testing.assert_allclose(found, [2000.0, 2000.0, 1460.0, 920.0, np.nan, np.nan], rtol=1e-12)


@pytest.mark.parametrize(
    # L = W u e / (8760 I) by hand: lb, A h/kg, A, years; u = 0.85
    ("pounds", "capacity", "current", "years"),
    [(32.0, 1100.0, 0.20, 7.746281), (70.0, 2500.0, 0.50, 15.404535), (50.0, 740.0, 0.30, 5.428265)],
)
def test_the_life_of_new_anodes_agrees_with_the_worked_examples(pounds, capacity, current, years):
    new = pounds * LB
    assert life_left_years(usable_mass_kg(new, new, 0.85), capacity, current) == pytest.approx(years, rel=1e-6)


def test_the_trades_rule_for_magnesium_reads_two_percent_long():
    # L = 0.116 W E U / I with W in lb (textbook form, from memory); Faraday's constant asks 0.114197 of it.
    new = 32.0 * LB
    capacity = 0.5 * ANODE_MATERIALS["magnesium"].theoretical_capacity_ah_per_kg
    exact = life_left_years(usable_mass_kg(new, new, 0.85), capacity, 0.1)
    assert exact == pytest.approx(0.114197 * 32.0 * 0.5 * 0.85 / 0.1, rel=1e-5)
    assert 15.776 / exact == pytest.approx(1.016, abs=1e-3)


def test_the_mass_needed_agrees_with_the_design_form():
    # 10 A for 20 years, u 0.8, 2000 A h/kg: 1095 kg by hand.
    assert mass_needed_kg(10.0, 20.0, 2000.0, 0.8) == pytest.approx(1095.0, rel=1e-12)


@given(st.floats(0.01, 50.0), st.floats(0.1, 40.0), st.floats(100.0, 3000.0), st.floats(0.1, 1.0))
def test_the_mass_needed_lasts_the_time_asked(current, years, capacity, utilisation):
    needed = mass_needed_kg(current, years, capacity, utilisation)
    life = life_left_years(usable_mass_kg(needed, needed, utilisation), capacity, current)
    assert life == pytest.approx(years, rel=1e-9)


@given(st.floats(1.0, 100.0), st.floats(0.1, 1.0), st.floats(0.0, 1.0), st.floats(0.01, 5.0))
def test_life_used_and_life_left_add_up(new, utilisation, used, current):
    whole = usable_mass_kg(new, new, utilisation)
    hours = used * life_left_years(whole, 1100.0, current) * 8760.0
    left = usable_mass_kg(new - mass_consumed_kg(current * hours, 1100.0), new, utilisation)
    assert life_left_years(left, 1100.0, current) == pytest.approx(
        (1.0 - used) * life_left_years(whole, 1100.0, current), abs=1e-6
    )


def test_a_spent_anode_has_no_life_and_a_dead_lead_an_unknown_one():
    assert life_left_years(usable_mass_kg(1.0, 10.0, 0.85), 1100.0, 0.2) == 0.0
    assert np.isnan(life_left_years(np.full(3, 5.0), 1100.0, np.array([0.0, -0.1, np.nan]))).all()
