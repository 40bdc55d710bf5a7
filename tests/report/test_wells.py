"""The section on well tests: a line for each well, its change, what failed, sums; numbers worked by hand."""

import base64
import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.field.settings import Well
from nightgauge.report.week import WeekView
from nightgauge.report.weekly import weekly_page
from nightgauge.report.well_records import allocations, well_records
from nightgauge.report.wells import DRAWN, wells
from nightgauge.vocabulary.frames import VESSEL_DAYS, WELL_TESTS

BARREL_M3 = 0.158987294928
UNTIL = datetime(2026, 5, 25, 6, tzinfo=UTC)
MakeView = Callable[..., WeekView]


def _tests(well: str, water: list[float | None], oil: list[float | None], **over: object) -> list[dict[str, Any]]:
    """Return tests of a well, the last a day before the night and one every second day before. [bbl/day]"""
    return [
        {
            "well": well, "vessel": "TB-2", "start_utc": UNTIL - timedelta(days=1 + 2 * (len(water) - 1 - at)),
            "end_utc": UNTIL - timedelta(days=2 * (len(water) - 1 - at)), "state": "accepted", "reason": None,
            "water_m3_per_day": None if w is None else w * BARREL_M3,
            "oil_m3_per_day": None if o is None else o * BARREL_M3,
            "water_cut_fraction": None if w is None or o is None else w / (w + o),
        }
        | over
        for at, (w, o) in enumerate(zip(water, oil, strict=True))
    ]  # fmt: skip


def _frame(*parts: list[dict[str, Any]]) -> pl.DataFrame:
    return WELL_TESTS.build(pl.DataFrame([row for part in parts for row in part], infer_schema_length=None))


@pytest.fixture
def field(make_field: Callable[..., Any]) -> Any:
    return make_field(wells=tuple(Well(f"W{n}", "TB-1") for n in (1, 2, 10)))


def test_a_well_is_one_line_with_its_last_accepted_test(make_view: MakeView, field: Any) -> None:
    part = wells(make_view(field=field, tests=_frame(_tests("W2", [100.0, 400.0], [50.0, 100.0]))))
    assert part is not None
    (row,) = part.rows
    assert (row.well, row.vessel, row.water, row.oil, row.cut) == ("W2", "TB-1", "400 bbl/day", "100 bbl/day", "80 %")
    assert part.untested == "No test is known of W1 and W10."


def test_a_test_that_the_schedule_gives_to_another_well_says_so(make_view: MakeView, field: Any) -> None:
    disagreed = {"reason": "the schedule has well W2 on the vessel, the signal W1"}
    part = wells(make_view(field=field, tests=_frame(_tests("W1", [100.0], [20.0], **disagreed))))
    assert part is not None
    assert part.rows[0].tested_on == "on TB-2; the schedule has well W2 on the vessel, the signal W1"


def test_the_change_is_that_of_the_liquid_against_the_tests_before(make_view: MakeView, field: Any) -> None:
    tests = _frame(_tests("W1", [100.0, 100.0, 100.0, 100.0, 80.0], [20.0, 20.0, 20.0, 20.0, 16.0]))
    part = wells(make_view(field=field, tests=tests))
    assert part is not None
    # 96 of 120; tests that agree to the last digit still repeat within 3 % only: 0.8 x 3 % x sqrt(1 + 1/4) = 2.7 %.
    assert part.rows[0].change == "−20 % ± 3 %"
    assert part.rows[0].change_of == "liquid, against 4 tests before"
    assert part.rows[0].is_out


def test_uncertainties_of_the_tests_are_told_and_widen_the_change(make_view: MakeView, field: Any) -> None:
    vague = {"water_uncertainty_m3_per_day": 20.0 * BARREL_M3, "oil_uncertainty_m3_per_day": 0.0}
    tests = _frame(_tests("W1", [100.0, 100.0, 100.0, 80.0], [20.0, 20.0, 20.0, 16.0], **vague))
    part = wells(make_view(field=field, tests=tests))
    assert part is not None
    assert part.rows[0].water == "80 ± 20 bbl/day"
    assert not part.rows[0].is_out


def test_failed_tests_are_listed_with_why_and_count_for_nothing(make_view: MakeView, field: Any) -> None:
    good = _tests("W1", [100.0], [20.0], start_utc=UNTIL - timedelta(days=9))
    bad = _tests("W1", [10.0], [2.0], state="rejected", reason="only 2.0 h after the purge, 4 h needed")
    old = _tests("W1", [10.0], [2.0], state="rejected", reason="old", start_utc=UNTIL - timedelta(days=40))
    part = wells(make_view(field=field, tests=_frame(old, good, bad)))
    assert part is not None
    assert part.rows[0].water == "100 bbl/day"
    assert [why for _, _, why in part.failed] == ["only 2.0 h after the purge, 4 h needed"]


def test_a_well_on_test_now_says_so(make_view: MakeView, field: Any) -> None:
    part = wells(make_view(field=field, tests=_frame(_tests("W1", [100.0], [20.0], state="running"))))
    assert part is not None
    assert part.rows[0].tested_on.startswith("on test now, since")
    assert part.rows[0].when == "none accepted, 0 failed"


def test_wells_with_findings_come_first_and_lead_to_them(make_view: MakeView, make_findings: Any, field: Any) -> None:
    tests = _frame(*(_tests(well, [100.0] * 3, [20.0] * 3) for well in ("W1", "W2", "W10")))
    found = make_findings({"kind": "well_test_decline", "element": "well:W10", "failure_mode": None, "also": "[]"})
    part = wells(make_view(field=field, tests=tests, findings=found))
    assert part is not None
    assert [row.well for row in part.rows] == ["W10", "W1", "W2"]
    ((link, words),) = part.rows[0].findings
    assert link.startswith("finding-")
    assert words == "its tests have changed"


def test_of_many_wells_twelve_are_drawn(make_view: MakeView, make_field: Any) -> None:
    names = [f"W{n}" for n in range(1, 16)]
    tests = _frame(*(_tests(well, [100.0] * 3, [20.0] * 3) for well in names))
    part = wells(make_view(field=make_field(wells=tuple(Well(name) for name in names)), tests=tests))
    assert part is not None
    assert len(part.drawn) == DRAWN
    assert [row.well for row in part.rows] == names


def test_the_sum_of_the_tests_stands_beside_the_median_load_of_four_weeks(field: Any) -> None:
    tests = _frame(_tests("W1", [100.0, 300.0], [20.0, 60.0]), _tests("W2", [150.0], [None]))
    records = well_records(tests, field, UNTIL)
    loads = [500.0] * 20 + [520.0] * 8 + [9000.0] * 5
    today = UNTIL.astimezone(field.zone).date()
    days = VESSEL_DAYS.build({
        "vessel": ["TB-1"] * 33, "day": [today - timedelta(days=n + 1) for n in range(33)],
        "water_load_m3_per_day": [load * BARREL_M3 for load in loads],
        "oil_load_m3_per_day": [100.0 * BARREL_M3] * 33,
    })  # fmt: skip
    water, oil = allocations(records, days, field, UNTIL)
    # Water 300 + 150 of 500; oil 60 of 100, of the one well that has an oil meter.
    assert (water.ratio, water.wells, water.without) == (pytest.approx(0.9), 2, ("W10",))
    assert (oil.ratio, oil.wells, oil.without) == (pytest.approx(0.6), 1, ("W2", "W10"))


def test_tests_after_the_night_are_not_known(field: Any) -> None:
    tests = _frame(_tests("W1", [100.0], [20.0]), _tests("W1", [5.0], [1.0], start_utc=UNTIL))
    (record, *_) = well_records(tests, field, UNTIL)
    assert record.accepted == 1


def test_the_csv_holds_every_test_with_its_state(make_view: MakeView, field: Any) -> None:
    tests = _frame(_tests("W1", [100.0, 90.0], [20.0, 18.0]), _tests("W2", [5.0], [1.0], state="rejected"))
    part = wells(make_view(field=field, tests=tests))
    assert part is not None
    head, _, body = str(part.csv).partition(",")
    assert head == "data:text/csv;charset=utf-8;base64"
    rows = pl.read_csv(io.BytesIO(base64.b64decode(body)))
    assert rows["state"].to_list() == ["accepted", "accepted", "rejected"]
    assert rows["water_m3_per_day"][0] == pytest.approx(100.0 * BARREL_M3)


def test_the_section_is_on_the_page_where_there_are_tests_and_nowhere_else(
    make_view: MakeView, field: Any, read_page: Callable[[str], Any]
) -> None:
    view = make_view(field=field, tests=_frame(_tests("W1", [100.0], [20.0])))
    section = read_page(weekly_page(view)).one("section", id="wells")
    assert "100 bbl/day" in section.text
    assert "All tests as CSV" in section.text
    assert wells(make_view(field=field)) is None
    assert 'id="wells"' not in weekly_page(make_view(field=field))
