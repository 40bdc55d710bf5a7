import numpy as np
import polars as pl
import pytest

from nightgauge.field.settings import TagRow
from nightgauge.units import Conversion

HOUR = 3600.0


@pytest.fixture
def hour_of(signal_samples, derive):
    """The first hours of one signal as rows of dicts."""

    def rows(signal, values, hours=1, **how):
        found = derive(signal_samples(signal, values, **how), hours=hours)
        return found.signal_hours.filter(pl.col("signal") == signal).to_dicts()

    return rows


def test_a_ramp_has_the_mean_deviation_and_quantiles_of_an_even_spread(hour_of):
    row = hour_of("vessel_pressure", [100.0, 220.0], times_s=[0, HOUR - 1e-6])[0]
    assert (row["first"], row["minimum"]) == (100.0, 100.0)
    assert (row["last"], row["maximum"]) == (220.0, 220.0)
    assert row["mean"] == pytest.approx(160.0)
    # An even spread over a width has the deviation width / sqrt(12).
    assert row["deviation"] == pytest.approx(120.0 / np.sqrt(12.0))
    # Lines are cut to minutes: a sixtieth of the width.
    assert row["p10"] == pytest.approx(112.0, abs=1.0)
    assert row["p90"] == pytest.approx(208.0, abs=1.0)
    assert row["net_change"] == pytest.approx(120.0)


def test_time_weighs_and_not_the_number_of_samples(hour_of):
    # Ten samples in the first minute at 1, two at 3 for the rest.
    row = hour_of("water_rate", [1.0] * 10 + [3.0, 3.0], times_s=[*np.linspace(0, 59, 10), 60, 3599])[0]
    assert row["mean"] == pytest.approx((59 * 1.0 + 1 * 2.0 + 3539 * 3.0) / 3599)


def test_coverage_is_the_known_share_of_the_hour(hour_of):
    rows = hour_of("interface_level", [1.0, 1.0, None, 1.0, 1.0], hours=2, times_s=[0, 900, 1800, 2700, 5400])
    assert [row["coverage"] for row in rows] == pytest.approx([0.25 + 0.25, 0.5])
    assert [row["samples"] for row in rows] == [3, 1]
    assert [row["bad_samples"] for row in rows] == [1, 0]


def test_a_state_has_its_share_of_the_time_as_mean(hour_of):
    assert hour_of("water_dump_open", [0, 1, 0], times_s=[0, 600, 1500])[0]["mean"] == pytest.approx(0.25)


def test_a_totaliser_has_the_counted_volume_as_net_change(hour_of):
    row = hour_of("water_total", [100.0, 103.0, 1.0, 2.0], times_s=[0, 600, 1200, 1800])[0]
    assert row["net_change"] == pytest.approx(3.0 + 1.0 + 1.0)


def test_a_text_is_counted_and_has_no_numbers(hour_of):
    row = hour_of("well_on_test", ["A", "A", "B"], times_s=[0, 600, 1200])[0]
    assert (row["samples"], row["changes"], row["coverage"], row["mean"]) == (3, 1, 1.0, None)


def test_changes_are_samples_that_differ_from_the_one_before(hour_of):
    assert hour_of("vessel_pressure", [1.0, 1.0, 2.0, None, 2.0, 3.0], period_s=60)[0]["changes"] == 2


def test_stillness_is_what_samples_have_shown_and_not_silence(hour_of):
    # Repeated every ten minutes up to 01:50, then silent: still for as long as samples say.
    rows = hour_of("interface_level", [1.0, 2.0] + [2.0] * 10, hours=4, times_s=[0, *range(600, 6700, 600)][:12])
    assert [row["still_s"] for row in rows] == [2400.0, 6000.0, 6000.0, 6000.0]


def test_stillness_before_any_change_counts_from_the_first_sample(hour_of):
    assert hour_of("interface_level", [1.0] * 7, period_s=600)[0]["still_s"] == 3000.0


def test_swings_have_height_and_period(hour_of):
    when = np.arange(0, HOUR, 10.0)
    row = hour_of("vessel_pressure", (300 + 5 * np.cos(2 * np.pi * when / 600)).tolist(), times_s=when)[0]
    assert row["swing"] == pytest.approx(10.0, rel=0.02)
    assert row["swing_period_s"] == pytest.approx(600.0, rel=0.02)
    assert row["swing_regularity"] > 0.95


def test_every_signal_of_the_vessel_has_every_hour(make_saw, derive):
    found = derive(make_saw([500.0] * 50).samples("interface_level", "water_total"), hours=5)
    per_signal = found.signal_hours.group_by("signal").len().sort("signal").rows()
    assert per_signal == [("interface_level", 5), ("water_total", 5)]


def test_a_register_that_rolls_over_counts_on(signal_samples, derive, knockout):
    # Six digits of barrels, described in tags.csv: 999,998 to 3 is five barrels.
    barrel = 0.158987294928
    tag = TagRow("FQI", "T-1", "water_total", "bbl", Conversion(barrel, 0.0), 86400.0)
    register = signal_samples("water_total", [x * barrel for x in (999_994.0, 999_998.0, 3.0, 7.0)], period_s=600)
    found = derive(register, hours=1, tags=(tag,)).signal_hours
    assert found["net_change"][0] == pytest.approx(13 * barrel)
