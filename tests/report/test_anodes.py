"""The anodes' section and the picture of a current."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from nightgauge.report.anodes import anodes, life_words
from nightgauge.report.weekly import weekly_page
from nightgauge.vocabulary.frames import ANODES, SIGNAL_HOURS

UNTIL = datetime(2026, 5, 25, 6, tzinfo=UTC)


def _anode(vessel, anode, **columns):
    full = {
        "vessel": vessel, "anode": anode, "material": "magnesium", "until_utc": UNTIL, "left_fraction": 0.64,
        "life_left_days": 800.0, "shortest_life_days": 640.0, "longest_life_days": 990.0, "current_a": 0.214,
        "inspect_by": date(2026, 11, 2), "basis": "Faraday's law",
    }  # fmt: skip
    return full | columns


@pytest.fixture
def view(make_view, make_findings):
    """Return a week with four anodes; A2 of TB-1 died on the 9th."""
    rows = [
        _anode("TB-2", "A1", inspect_by=date(2026, 5, 20), longest_life_days=None),
        _anode("TB-1", "A2", life_left_days=None, shortest_life_days=None, longest_life_days=None, current_a=0.0),
        _anode("TB-1", "A1"),
        {"vessel": "TB-3", "anode": "A1", "material": "zinc", "until_utc": UNTIL, "basis": "needs an inspection"},
    ]
    start = UNTIL - timedelta(days=100)
    hours = SIGNAL_HOURS.build(
        pl.DataFrame(
            {
                "vessel": "TB-1",
                "signal": "anode_current:A2",
                "hour_utc": [start + timedelta(hours=n) for n in range(2400)],
                "coverage": 1.0,
                "mean": [0.3 if n < 84 * 24 else 0.0 for n in range(2400)],
            }
        )
    )
    lost = {"kind": "anode_current_lost", "element": "anode:A2", "failure_mode": None, "also": "[]"}
    return make_view(
        anodes=ANODES.build(pl.DataFrame(rows, infer_schema_length=None)), currents=hours, findings=make_findings(lost)
    )


def test_anodes_stand_by_vessel_with_what_is_left_and_the_range_of_the_life(view):
    rows = anodes(view)
    assert [(row.vessel, row.anode) for row in rows] == [("TB-1", "A1"), ("TB-1", "A2"), ("TB-2", "A1"), ("TB-3", "A1")]
    first = rows[0]
    assert (first.left, first.life, first.interval) == ("64 %", "2.2 years", "21 months to 2.7 years")
    assert (first.current, first.inspect_by, first.is_due) == ("0.214 A", "2 Nov 2026", False)


def test_a_look_that_is_over_is_due_and_an_open_range_says_so(view):
    row = anodes(view)[2]
    assert row.is_due
    assert row.interval == "at least 21 months"


def test_what_is_not_known_says_so_and_what_is_missing(view):
    dead, bare = anodes(view)[1], anodes(view)[3]
    assert (dead.life, dead.interval, dead.current) == ("not known", "", "0 A")
    assert (bare.left, bare.inspect_by, bare.basis) == ("not known", "not known", "needs an inspection")


def test_an_anode_with_a_finding_leads_to_its_card(view, read_page):
    page = read_page(weekly_page(view))
    section = page.one("section", id="anodes")
    (link,) = [one for one in page.all("a", class_="mark") if one.text == "gives no current"]
    assert link.attributes["href"][1:] in page.ids
    assert "only pulled from a vessel that is out of service" in section.text


def test_the_card_shows_the_current_of_ninety_days_and_nothing_of_dumps(view, read_page):
    page = read_page(weekly_page(view))
    (card,) = page.all("article", class_="card")
    assert "The current of anode A2 falls to nothing" in card.text
    assert "anode A2 gives no current" in card.text
    (chart,) = [one for one in page.charts if any("current" in str(layer) for layer in one["layer"])]
    values = chart["datasets"]["layer0"]["y"]
    # The first day is cut by the ninety days' edge at midnight of the field and by the data's end six hours later.
    assert len(values) in (90, 91)
    assert (values[0], values[-1]) == (0.3, 0.0)


def test_a_field_without_anodes_has_no_section(make_view, read_page):
    assert read_page(weekly_page(make_view())).all("section", id="anodes") == []


def test_a_finding_without_hours_of_current_has_no_picture(view, read_page):
    page = read_page(weekly_page(replace(view, currents=SIGNAL_HOURS.empty())))
    (card,) = page.all("article", class_="card")
    assert "umps" not in card.text


@pytest.mark.parametrize(
    ("days", "words"), [(1.0, "1 day"), (89.0, "89 days"), (3000.0, "8.2 years"), (7300, "20 years")]
)
def test_a_life_is_told_in_the_unit_people_plan_in(days, words):
    assert life_words(days) == words
