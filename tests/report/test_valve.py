"""The valve page and its short form: what stands, traces, dumps beside their past, the cycles as CSV."""

import base64
import csv
import io
import re
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from nightgauge.report.valve import ValveView, valve_page, valve_text

MakeView = Callable[..., ValveView]
Read = Callable[[str], Any]
HOSTILE = "<script>alert('x')</script>"


@pytest.fixture(scope="module")
def html(make_valve_view: MakeView) -> str:
    return valve_page(make_valve_view(compare=datetime.fromisoformat("2026-05-17T12:00:00-06:00")))


@pytest.fixture(scope="module")
def page(html: str, read_page: Read) -> Any:
    return read_page(html)


def test_the_head_names_vessel_element_and_period(page: Any) -> None:
    assert re.sub(r"\s+", " ", page.one("h1").text) == "TB-2 water dump Mon 18 May to Sun 24 May 2026"
    assert page.all("p", class_="opening")[0].text == "Water dump leaks while shut (likely)."


def test_every_element_is_closed_and_nothing_outside_is_named(page: Any, html: str) -> None:
    assert page.unclosed == []
    assert len(page.ids) == len(set(page.ids))
    own = html.replace(max((one.text for one in page.all("script")), key=len), "")
    assert re.findall(r"https?:", own) == []


def test_traces_share_one_time_and_keep_room_for_their_words(page: Any) -> None:
    zoomed = [spec for chart, spec in zip(page.all("div", class_="chart"), page.charts, strict=True)
              if "zoomed" in (chart.attributes["class"] or "")]  # fmt: skip
    assert len(zoomed) == 2  # level and pressure
    assert len({tuple(spec["datasets"]["axes"]["t"]) for spec in zoomed}) == 1
    assert {spec["layer"][-1]["mark"]["xOffset"] for spec in zoomed} == {126}


def test_the_overview_can_be_brushed(page: Any) -> None:
    (chart,) = page.all("div", class_="overview")
    spec = page.charts[page.all("div", class_="chart").index(chart)]
    assert [layer["params"][0]["name"] for layer in spec["layer"] if "params" in layer] == ["span"]


def test_the_dumps_of_the_period_come_as_csv_from_the_page_itself(page: Any, make_valve_view: MakeView) -> None:
    (link,) = [one for one in page.all("a") if "download" in one.attributes]
    assert link.attributes["download"] == "TB-2-dumps.csv"
    text = base64.b64decode((link.attributes["href"] or "").split("base64,")[1]).decode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == make_valve_view().period.height == 217  # 31 a day for 7 days
    assert rows[0]["evidence"] == "switch"
    assert re.fullmatch(r"2026-05-18T06:\d\d:\d\d\.\d{3}Z", rows[0]["opened_utc"])  # midnight in Denver is 06:00 UTC


def test_before_and_after_say_whether_the_repair_held(page: Any) -> None:
    assert "Before and after Sun 17 May 12:00" in page.one("h2", id="repair-head").text
    # its float_stuck_closed stands since before the repair
    assert any(
        "It has not held: “" in one.text and "still stands" in one.text for one in page.all("p", class_="opening")
    )


def test_a_repair_of_the_oil_valve_is_looked_at_by_the_pressure_it_held(
    make_valve_view: MakeView, read_page: Read
) -> None:
    view = make_valve_view(element="oil_valve", compare=datetime.fromisoformat("2026-05-19T12:00:00-06:00"))
    rows = [row.text for row in read_page(valve_page(view)).all("tr") if row.text.startswith("held pressure")]
    assert len(rows) == 2  # around the repair, and the period beside the four weeks before
    assert all(re.search(r"\d psig.*\d ± \d", row) for row in rows)


def test_an_oil_valve_is_told_day_by_day(make_valve_view: MakeView, read_page: Read) -> None:
    page = read_page(valve_page(make_valve_view(element="oil_valve")))
    assert "oil valve’s hold is drifting" in page.one("section", **{"aria-labelledby": "first-head"}).text
    assert "Pressure the oil valve holds, load taken out" in [one.text for one in page.all("figcaption")]
    assert not [one for one in page.all("a") if "download" in one.attributes]


def test_a_vessel_without_data_still_has_a_page(make_valve_view: MakeView, read_page: Read) -> None:
    view = make_valve_view()
    bare = make_valve_view(
        vessel=HOSTILE, samples=view.samples.clear(), cycles=view.cycles.clear(), days=view.days.clear()
    )
    html = valve_page(bare)
    assert "<script>alert" not in html
    page = read_page(html)
    assert "No signal of this element has data in the period." in page.one("section", id="traces").text
    assert "No finding stands on the water dump." in page.one("header").text


def test_an_unknown_vessel_is_a_bug_of_the_caller(make_valve_view: MakeView) -> None:
    with pytest.raises(KeyError, match="TB-99"):
        valve_page(make_valve_view(vessel="TB-99"))


def test_the_same_view_gives_the_same_bytes(make_valve_view: MakeView) -> None:
    assert valve_page(make_valve_view()) == valve_page(make_valve_view())


def test_the_short_form_tells_the_same_in_lines(make_valve_view: MakeView) -> None:
    text = valve_text(make_valve_view())
    assert text.splitlines()[0] == "TB-2 water dump — Mon 18 May to Sun 24 May 2026"
    assert "217 dumps in the period, 868 in the four weeks before" in text
    assert re.search(r"level at opening +46\.0 in +46\.0 in +[+−]?0\.\d\d ± 0\.\d\d in", text)
    assert text.rstrip().endswith("Nothing here\nsays that a vessel may be opened.")


def test_a_throttling_dump_is_told_as_one_and_not_as_no_dumps(make_valve_view: MakeView) -> None:
    text = valve_text(make_valve_view(vessel="TB-3"))
    assert "The dump throttles: it has no dump cycles." in text
    assert "in the period" not in text
