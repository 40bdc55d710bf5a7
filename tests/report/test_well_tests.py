"""The picture of a well's tests: rates, uncertainty, rejected tests, the range before; numbers worked by hand."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.report.pictures import Picture, picture
from nightgauge.report.scene import Scene
from nightgauge.report.weekly import WeekView, weekly_page
from nightgauge.vocabulary.frames import WELL_TESTS

BARREL_M3 = 0.158987294928
FIRST = datetime(2026, 4, 14, 12, tzinfo=UTC)
ONSET = datetime(2026, 5, 9, 6, tzinfo=UTC)
# Every fifth day; the last three after the onset.
WATER = (100.0, 104.0, 96.0, 100.0, 100.0, 80.0, 76.0, 78.0)
OIL = (50.0, 50.0, 52.0, 48.0, 50.0, 40.0, 40.0, 40.0)


def _tests(water: Sequence[float | None], oil: Sequence[float | None], **over: object) -> pl.DataFrame:
    count = len(water)
    columns: dict[str, Any] = {
        "well": ["W1"] * count, "vessel": ["TB-2"] * count,
        "start_utc": [FIRST + timedelta(days=5 * at) for at in range(count)],
        "water_m3_per_day": [None if rate is None else rate * BARREL_M3 for rate in water],
        "oil_m3_per_day": [None if rate is None else rate * BARREL_M3 for rate in oil],
        "state": ["accepted"] * count,
    }  # fmt: skip
    return WELL_TESTS.build(pl.DataFrame(columns | over, infer_schema_length=None))


@pytest.fixture(scope="module")
def view(make_view: Callable[..., WeekView]) -> WeekView:
    return make_view()


@pytest.fixture
def drawn(view: WeekView) -> Callable[[pl.DataFrame], Picture]:
    def draw(tests: pl.DataFrame) -> Picture:
        row = view.findings.row(by_predicate=pl.col("id") == "F002", named=True)
        vessel = view.field.vessel("TB-2")
        assert vessel is not None
        made = picture(Scene(
            finding=row | {"kind": "well_test_decline", "element": "well:W1", "onset": ONSET}, vessel=vessel,
            field=view.field, until=view.until.astimezone(UTC), days=view.days, hours=view.hours, cycles=view.cycles,
            trace=None, tests=tests,
        ))  # fmt: skip
        assert made is not None
        return made

    return draw


def _layer(made: Picture, chart: int, kind: str) -> dict[str, list[Any]]:
    (found,) = [layer.columns for layer in made.charts[chart].layers if layer.kind == kind]
    return found


def test_liquid_and_oil_are_drawn_test_by_test_with_the_range_before(drawn: Callable[..., Picture]) -> None:
    made = drawn(_tests(WATER, OIL))
    assert [chart.y_title for chart in made.charts] == ["liquid, bbl/day", "oil, bbl/day"]
    assert _layer(made, 0, "points")["y"] == pytest.approx([w + o for w, o in zip(WATER, OIL, strict=True)])
    band = _layer(made, 1, "band")
    assert (band["y"], band["y2"]) == ([pytest.approx(48.0)], [pytest.approx(52.0)])


def test_the_title_says_what_the_medians_did(drawn: Callable[..., Picture]) -> None:
    # Liquid: median of 150, 154, 148, 148, 150 is 150; of 120, 116, 118 it is 118: 21 % less. Oil: 50 to 40.
    assert drawn(_tests(WATER, OIL)).title == "Tests of well W1 since the onset: liquid 21 % less, oil 20 % less"


def test_bars_are_two_standard_uncertainties_either_way(drawn: Callable[..., Picture]) -> None:
    made = drawn(_tests(WATER, OIL, water_uncertainty_m3_per_day=[3 * BARREL_M3] * 8,
                        oil_uncertainty_m3_per_day=[4 * BARREL_M3] * 8))  # fmt: skip
    # Independent meters: the liquid's is the root of 3 x 3 + 4 x 4, 5 bbl/day; the first liquid rate is 150.
    bars = _layer(made, 0, "range")
    assert (bars["y"][0], bars["y2"][0]) == (pytest.approx(140.0), pytest.approx(160.0))
    assert ("tall ink", "± 2 standard uncertainties") in made.key
    assert "range" not in [layer.kind for layer in drawn(_tests(WATER, OIL)).charts[0].layers]


def test_a_rejected_test_is_a_cross_outside_the_range(drawn: Callable[..., Picture]) -> None:
    states = ["accepted", "rejected", *["accepted"] * 6]
    made = drawn(_tests(WATER, OIL, state=states, reason=[None, "too short", *[None] * 6]))
    crosses = _layer(made, 0, "crosses")
    assert crosses["y"] == [pytest.approx(154.0)]
    assert crosses["found"] == ["154 bbl/day, rejected: too short"]
    assert _layer(made, 0, "band")["y2"] == [pytest.approx(150.0)]


def test_without_an_oil_meter_the_water_is_drawn(drawn: Callable[..., Picture]) -> None:
    made = drawn(_tests(WATER, [None] * 8))
    assert [chart.y_title for chart in made.charts] == ["water, bbl/day"]
    assert made.title == "Tests of well W1 since the onset: water 22 % less"


def test_another_wells_tests_are_not_drawn(drawn: Callable[..., Picture]) -> None:
    made = drawn(_tests(WATER, OIL, well=["W2"] * 8))
    assert "well" not in made.title


def test_the_card_of_a_wells_finding_shows_its_tests(
    view: WeekView, make_view: Callable[..., WeekView], read_page: Callable[[str], Any]
) -> None:
    findings = view.findings.with_columns(
        kind=pl.when(pl.col("id") == "F002").then(pl.lit("well_test_decline")).otherwise("kind"),
        element=pl.when(pl.col("id") == "F002").then(pl.lit("well:W1")).otherwise("element"),
    )
    page = read_page(weekly_page(make_view(findings=findings, tests=_tests(WATER, OIL))))
    card = page.one("article", id="finding-F002")
    assert "tests of well W1 have changed" in card.text
    assert "Tests of well W1 since the onset: liquid 21 % less, oil 20 % less" in card.text
