"""The section on room: fullest first, short ones said to be, unknown ones named."""

from collections.abc import Callable
from typing import Any

import polars as pl

from nightgauge.report.room import room
from nightgauge.report.week import WeekView
from nightgauge.report.weekly import weekly_page
from nightgauge.vocabulary.frames import VESSEL_CAPACITY

BBL_M3 = 0.158987294928
MakeView = Callable[..., WeekView]


def _capacity(*rows: tuple[str, float, float]) -> pl.DataFrame:
    """Rows of vessel, capacity and high load [bbl/day], each with the one limit that binds and one that does not."""
    return VESSEL_CAPACITY.build(
        {
            "vessel": [vessel for vessel, _, _ in rows for _ in range(2)],
            "limit": ["water retention", "water dump"] * len(rows),
            "phase": ["water"] * 2 * len(rows),
            "capacity_m3_per_day": [one * BBL_M3 for _, rate, _ in rows for one in (rate, 10 * rate)],
            "high_load_m3_per_day": [load * BBL_M3 for _, _, load in rows for _ in range(2)],
            "used_fraction": [share for _, rate, load in rows for share in (load / rate, load / rate / 10)],
            "binds": [True, False] * len(rows),
            "basis": ["64 bbl held"] * 2 * len(rows),
        }
    )


def test_the_fullest_vessel_comes_first_with_what_it_is_short_of(make_view: MakeView) -> None:
    made = room(make_view(capacity=_capacity(("TB-1", 4000.0, 1000.0), ("TB-2", 3200.0, 4400.0))))
    assert made is not None
    assert [(row.vessel, row.used, row.room) for row in made.rows] == [
        ("TB-2", "138 %", "1,200 bbl/day"),
        ("TB-1", "25 %", "3,000 bbl/day"),
    ]
    assert [row.is_short for row in made.rows] == [True, False]
    assert made.unknown is not None
    assert "TB-1" not in made.unknown


def test_a_limit_is_told_in_the_unit_of_its_phase(make_view: MakeView) -> None:
    gas = _capacity(("TB-1", 4000.0, 1000.0)).with_columns(
        phase=pl.lit("gas"), limit=pl.lit("gas"), capacity_m3_per_day=pl.lit(28316.846592)
    )
    made = room(make_view(capacity=gas))
    assert made is not None
    assert made.rows[0].capacity == "1,000 Mcf/day"  # 1 Mcf is 1000 ft3 of 0.028316846592 m3


def test_the_section_is_on_the_page_where_something_is_known(
    make_view: MakeView, read_page: Callable[[str], Any]
) -> None:
    page = read_page(weekly_page(make_view(capacity=_capacity(("TB-2", 3200.0, 4400.0)))))
    assert "1,200 bbl/day short" in page.one("section", id="room").text
    assert room(make_view()) is None
    assert not [one for one in read_page(weekly_page(make_view())).all("section") if one.attributes.get("id") == "room"]
