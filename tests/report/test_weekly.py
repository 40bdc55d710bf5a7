"""The weekly page: structure, words, units, escaping, one file without the network, the same bytes each time."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.report.weekly import WeekView, weekly_page, weekly_text
from nightgauge.vocabulary.frames import SIGNAL_HOURS

MakeView = Callable[..., WeekView]
HOSTILE = "<script>alert('x')</script>"


@pytest.fixture(scope="module")
def view(make_view: MakeView) -> WeekView:
    return make_view()


@pytest.fixture(scope="module")
def html(view: WeekView) -> str:
    return weekly_page(view)


@pytest.fixture(scope="module")
def page(html: str, read_page: Callable[[str], Any]) -> Any:
    return read_page(html)


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


def test_every_element_is_closed_and_every_id_is_its_own(page: Any) -> None:
    assert page.unclosed == []
    assert len(page.ids) == len(set(page.ids))


def test_every_link_inside_the_page_leads_somewhere(page: Any) -> None:
    targets = [one.attributes["href"] for one in page.all("a")]
    assert targets
    assert {target.removeprefix("#") for target in targets} <= set(page.ids)


def test_the_head_says_field_week_nights_coverage_and_vessels(page: Any) -> None:
    assert _plain(page.one("h1").text) == "Tarn Bottom week 18–24 May 2026"
    # Four of five vessels have 0.97 of 7 days, one of them only of 2: (3 x 7 + 2) x 0.97 / 35 = 64 %.
    assert _plain(page.one("p", class_="facts").text) == "6 nights of 7coverage 64 %5 vessels"


def test_what_needs_a_visit_is_ranked_by_priority_then_confidence(page: Any) -> None:
    lines = [_plain(one.text) for one in page.all("li", class_="visit")]
    assert lines[0] == (
        "◆high: TB-1 water dump stuck shut since Fri 04:10 (sure)Has not dumped for 68 h while water came in at "
        "1,900 bbl/day. up to 310 bbl/daywater to the oil side look first: float arm and linkage, from outside "
        "how this was reckoned water load1,900 bbl/dayshare16.3 % load × share"
        "water to the oil sideup to 310 bbl/day"
    )
    assert [line.split()[1] for line in lines] == ["TB-1", "TB-2", "TB-3", "TB-1", "TB-4"]


def test_numbers_stand_beside_what_was_expected_in_the_fields_units(page: Any) -> None:
    card = page.one("article", id="finding-F001")
    assert "highest interface Fri 22 May – Mon 25 May 66.0 in expected 46.0 in" in _plain(card.text).replace(
        "interfaceFri", "interface Fri"
    ).replace("May66", "May 66").replace("inexpected", "in expected")
    assert "1,900 bbl/day" in card.text


def test_the_same_page_in_metric(
    make_view: MakeView, make_field: Callable[..., Any], read_page: Callable[[str], Any]
) -> None:
    card = read_page(weekly_page(make_view(field=make_field(display_units="metric")))).one("article", id="finding-F001")
    assert "1,676 mm" in card.text  # 66 in x 25.4
    assert "bbl" not in card.text.replace("bbl/day.", "")  # but for the summary, which the detector words


def test_each_finding_but_the_withdrawn_has_a_card(page: Any) -> None:
    cards = {one.attributes["id"] for one in page.all("article", class_="card")}
    assert cards == {f"finding-F00{number}" for number in (1, 2, 3, 4, 5, 6, 8)}


def test_a_card_names_checks_other_explanations_and_story(page: Any) -> None:
    text = _plain(page.one("article", id="finding-F001").text)
    for said in ("Look at, in this order", "pilot supply to the dump valve", "a reading is frozen: the level",
                 "Sun 24 May 00:00 surer: 0.97 after 0.82", "ISO 14224 FTO, fail to open"):  # fmt: skip
        assert said in text


def test_a_name_with_markup_is_shown_as_text(page: Any, html: str) -> None:
    assert "<script>alert" not in html
    assert any(one.text == HOSTILE for one in page.all("span"))
    assert len(page.all("script")) == len(page.all("div", class_="chart")) + 2  # the look, and the one script


def test_a_vessel_without_findings_says_nothing_found_and_how_much_was_seen(
    make_view: MakeView, read_page: Callable[[str], Any]
) -> None:
    view = make_view()
    quiet = make_view(findings=view.findings.clear(), events=view.events.clear())
    rows = read_page(weekly_page(quiet)).one("table", class_="sortable").text
    assert "nothing found (coverage 97 %)" in rows
    assert "nothing found (coverage 28 %)" in rows
    assert "could not be judged (coverage 0 %)" in rows  # the vessel with no data at all


def _row_of(page: Any, vessel: str) -> str:
    (found,) = [one for one in page.all("tr") if (one.attributes.get("id") or "") == f"vessel-{vessel}"]
    return _plain(found.text)


def test_a_throttling_dump_shows_its_water_and_travel_and_no_dumps(
    page: Any, make_view: MakeView, read_page: Callable[[str], Any]
) -> None:
    # Loads of 1900 + 60 sin(1.7 n + 2) bbl/day: the week's median day is 1,900 within a few.
    assert re.search(r"water 1,8[5-9]\d bbl/day|water 1,9[0-4]\d bbl/day", _row_of(page, "TB-3"))
    assert "throttling; usual 1,8" in _row_of(page, "TB-3")
    hours = [make_view().start + timedelta(hours=at) for at in range(48)]
    travel = SIGNAL_HOURS.build(pl.DataFrame({
        "vessel": ["TB-3"] * 48, "signal": ["water_dump_position"] * 48, "hour_utc": hours, "mean": [0.42] * 48,
    }))  # fmt: skip
    moving = read_page(weekly_page(make_view(levels=travel)))
    assert "throttling, open 42 %" in _row_of(moving, "TB-3")
    bare = read_page(weekly_page(make_view(days=make_view().days.clear())))
    assert "throttling: no dump cycles" in _row_of(bare, "TB-3")
    assert "no dumps known" in _row_of(bare, "TB-2")


def test_nothing_is_ever_called_well(page: Any) -> None:
    shown = " ".join(one.text for one in page.elements if one.tag in {"header", "main"}).lower()
    assert not re.search(r"\b(healthy|ok|okay|all clear|safe to)\b", shown)


def test_the_page_refers_to_nothing_outside(html: str, page: Any) -> None:
    own = html.replace(max((one.text for one in page.all("script")), key=len), "")
    assert re.findall(r"https?:|//[a-z]", own) == []
    assert re.findall(r"@import|url\([^#]", own) == []
    assert not [one for one in page.elements if one.tag in {"link", "img", "iframe", "object", "embed"}]
    assert not [
        one for one in page.elements if "src" in one.attributes or any(name.startswith("on") for name in one.attributes)
    ]


def test_the_policy_allows_the_one_script_and_no_network(page: Any) -> None:
    (policy,) = [one.attributes["content"] for one in page.all("meta") if "http-equiv" in one.attributes]
    assert "default-src 'none'" in policy
    assert re.search(r"script-src 'sha256-[A-Za-z0-9+/]{43}='", policy)
    assert "connect-src" not in policy


def test_the_same_view_gives_the_same_bytes(html: str, make_view: MakeView) -> None:
    assert weekly_page(make_view()) == html


def test_every_chart_has_data_and_a_text_that_stands_for_it(page: Any) -> None:
    charts = page.all("div", class_="chart")
    assert len(charts) == len(page.charts) > 5
    for chart, spec in zip(charts, page.charts, strict=True):
        assert len(chart.attributes["aria-label"] or "") > 40
        assert sum(len(columns["t"]) for name, columns in spec["datasets"].items() if name.startswith("layer")) > 0


def test_no_layer_has_more_points_than_the_chart_has_pixels(page: Any) -> None:
    for spec in page.charts:
        for columns in spec["datasets"].values():
            assert {len(column) for column in columns.values()} == {len(next(iter(columns.values())))}
            assert len(next(iter(columns.values()))) <= 660


def test_a_week_with_nothing_in_it_still_makes_a_page(make_view: MakeView, read_page: Callable[[str], Any]) -> None:
    view = make_view()
    empty = {name: getattr(view, name).clear() for name in
             ("nights", "findings", "events", "days", "hours", "cycles", "files", "quarantine")}  # fmt: skip
    page = read_page(weekly_page(make_view(**empty, traces={}, unjudged={})))
    assert "Nothing found that needs a visit." in page.one("section", id="visit").text
    assert "0 nights of 7" in page.one("p", class_="facts").text
    assert page.charts == []


def test_a_running_week_counts_only_the_days_so_far(make_view: MakeView, read_page: Callable[[str], Any]) -> None:
    from_wednesday = make_view().until.replace(day=20)
    page = read_page(weekly_page(make_view(until=from_wednesday)))
    assert _plain(page.one("p", class_="facts").text).startswith("2 nights of 2 so far")


def test_the_mail_text_says_the_same_in_lines_of_a_mail(view: WeekView) -> None:
    text = weekly_text(view)
    assert max(len(line) for line in text.splitlines()) <= 78  # RFC 5322, 2.1.1
    assert (
        "1. TB-1: water dump stuck shut since Fri 04:10 (sure); up to 310 bbl/day (water to the oil side)."
        in _plain(text)
    )
    assert "Has not dumped for 68 h while water came in at 1,900 bbl/day." in _plain(text)
    assert ".;" not in text
    assert "TB-4: dumps: no level, switch or meter since Wednesday" in text


def test_a_finding_on_an_element_without_data_is_told_without_a_picture(
    make_view: MakeView, read_page: Callable[[str], Any]
) -> None:
    view = make_view()
    findings = view.findings.filter(pl.col("id") == "F002")
    bare = make_view(
        findings=findings, days=view.days.clear(), hours=view.hours.clear(), cycles=view.cycles.clear(), traces={}
    )
    card = read_page(weekly_page(bare)).one("article", id="finding-F002")
    assert "Holds 41.1 psig" in card.text
    assert not [child for child in card.children if child.tag == "figure"]
