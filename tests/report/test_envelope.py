"""Limits of the operating envelope worked by hand, and what is said of the trend towards them."""

from collections.abc import Callable, Sequence
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from nightgauge.field.settings import Field, Vessel
from nightgauge.report.envelope import envelope
from nightgauge.vocabulary.frames import VESSEL_CAPACITY, VESSEL_DAYS

BARREL_M3 = 0.158987294928


@pytest.fixture(scope="module")
def field(make_field: Callable[..., Field]) -> Field:
    return make_field()


@pytest.fixture(scope="module")
def bare(make_vessel: Callable[..., Vessel]) -> Vessel:
    return make_vessel("V", water_dump=())


CAPACITY = VESSEL_CAPACITY.build({
    "vessel": ["V"], "limit": ["water retention"], "phase": ["water"], "capacity_m3_per_day": [2880 * BARREL_M3],
})  # fmt: skip


def _days(water_bbl: Sequence[float]) -> pl.DataFrame:
    """Days of water loads, and 400 bbl/day of oil."""
    water = np.asarray(water_bbl)
    return VESSEL_DAYS.build({
        "vessel": ["V"] * len(water), "day": [date(2026, 3, 1) + timedelta(days=at) for at in range(len(water))],
        "water_load_m3_per_day": water * BARREL_M3, "oil_load_m3_per_day": [400 * BARREL_M3] * len(water),
    })  # fmt: skip


def test_a_limit_is_told_with_the_share_of_it_that_the_week_uses(bare: Vessel, field: Field) -> None:
    # a load of 1,440 bbl/day uses half of 2,880
    made = envelope(bare, field, _days([1440.0] * 20), CAPACITY)
    assert made is not None
    assert made.sentences == ("water retention: 2,880 bbl/day, 50 % used this week; too few days for a trend.",)


def test_a_steady_rise_meets_the_limit_on_the_day_arithmetic_says(bare: Vessel, field: Field) -> None:
    # 2,000 bbl/day rising by 8 a day for 60 days: 2,472 on 29 April, 408 below the limit of 2,880: 51 days on, 19 June.
    made = envelope(bare, field, _days([2000 + 8.0 * day for day in range(60)]), CAPACITY)
    assert made is not None
    assert "its trend meets it about 19 Jun 2026" in made.sentences[0]


def test_scatter_without_a_trend_is_told_as_none(bare: Vessel, field: Field) -> None:
    scatter = np.random.default_rng(5).normal(1500.0, 60.0, 60)
    made = envelope(bare, field, _days(scatter), CAPACITY)
    assert made is not None
    assert "no trend in the load" in made.sentences[0]


def test_a_falling_load_and_one_above_the_limit_are_told(bare: Vessel, field: Field) -> None:
    falling = envelope(bare, field, _days([2500 - 8.0 * day for day in range(60)]), CAPACITY)
    above = envelope(bare, field, _days([3200.0 + day for day in range(60)]), CAPACITY)
    assert falling is not None
    assert above is not None
    assert "the load is falling" in falling.sentences[0]
    assert "the load is above it" in above.sentences[0]


def test_a_rise_too_slow_to_matter_gives_no_date(bare: Vessel, field: Field) -> None:
    made = envelope(bare, field, _days([1000 + 0.5 * day for day in range(60)]), CAPACITY)
    assert made is not None
    assert "does not meet it within two years" in made.sentences[0]


def test_without_an_oil_meter_there_is_no_envelope(bare: Vessel, field: Field) -> None:
    assert (
        envelope(
            bare, field, _days([1440.0] * 20).with_columns(oil_load_m3_per_day=pl.lit(None, dtype=pl.Float64)), CAPACITY
        )
        is None
    )


def test_the_chart_holds_every_day_and_says_the_same_in_words(bare: Vessel, field: Field) -> None:
    made = envelope(bare, field, _days([1440.0] * 20), CAPACITY)
    assert made is not None
    assert made.specification["datasets"]["layer0"]["x"] == [pytest.approx(1440.0)] * 20
    assert made.specification["datasets"]["water as usual"]["x"] == [pytest.approx(2880.0)]
    assert "water 1,440 to 1,440 bbl/day" in made.alternative


def _gassy(share: float) -> pl.DataFrame:
    """Days whose gas takes a share of the gas capacity, at 400 bbl/day of oil."""
    return _days([1440.0] * 20).with_columns(gas_load_fraction=pl.lit(share))


def test_gas_capacity_is_the_oil_rate_whose_gas_takes_all_of_it(bare: Vessel, field: Field) -> None:
    # 400 bbl/day of oil bring gas for 0.8 of the capacity: at the same gas-oil ratio 400 / 0.8 = 500 bbl/day take all.
    made = envelope(bare, field, _gassy(0.8), CAPACITY)
    assert made is not None
    assert made.sentences[1] == (
        "gas capacity at this gas-oil ratio: 500 bbl/day of oil, 80 % used this week; too few days for a trend."
    )
    assert made.specification["datasets"]["oil as usual"]["y"] == [pytest.approx(500.0)]


def test_a_limit_far_beyond_the_days_is_said_and_not_drawn(bare: Vessel, field: Field) -> None:
    # 400 / 0.1 = 4,000 bbl/day, ten times the largest oil load: drawn, it would press all days on the foot.
    made = envelope(bare, field, _gassy(0.1), CAPACITY)
    assert made is not None
    assert "4,000 bbl/day of oil (beyond the picture), 10 % used" in made.sentences[1]
    assert made.specification["datasets"]["oil as usual"]["y"] == []
    assert made.specification["datasets"]["axes"]["y"] == [0.0, pytest.approx(440.0)]
    assert "gas capacity at this gas-oil ratio 4,000 bbl/day" in made.alternative


def _with_oil(rate_bbl: float) -> pl.DataFrame:
    """The same capacity, and one of oil."""
    oil = {"vessel": ["V"], "limit": ["oil retention"], "phase": ["oil"], "capacity_m3_per_day": [rate_bbl * BARREL_M3]}
    return pl.concat([CAPACITY, VESSEL_CAPACITY.build(oil)])


@pytest.mark.parametrize(("oil_bbl", "turned"), [(504.0, ["gas capacity at this gas-oil ratio"]), (864.0, [])])
def test_two_limits_close_together_have_their_words_on_either_side(
    bare: Vessel, field: Field, oil_bbl: float, turned: list[str]
) -> None:
    # 504 bbl/day is hard by the 500 of the gas, 864 bbl/day is far from it.
    made = envelope(bare, field, _gassy(0.8), _with_oil(oil_bbl))
    assert made is not None
    assert made.specification["datasets"]["oil turned"]["words"] == turned
    every = [
        word for where in ("as usual", "turned") for word in made.specification["datasets"][f"oil {where}"]["words"]
    ]
    assert sorted(every) == ["gas capacity at this gas-oil ratio", "oil retention"]


def test_without_gas_rate_no_gas_capacity_is_told(bare: Vessel, field: Field) -> None:
    made = envelope(bare, field, _days([1440.0] * 20), CAPACITY)
    assert made is not None
    assert not [one for one in made.sentences if "gas" in one]
