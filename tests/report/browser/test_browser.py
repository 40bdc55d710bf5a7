"""The pages of an invented week in Debian's Chromium, with the network refused: no error, no request, charts drawn."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from nightgauge.report.valve import ValveView, valve_page
from nightgauge.report.weekly import WeekView, weekly_page

pytestmark = pytest.mark.page
WIDTHS = (390, 1440)
Opened = Any  # conftest's class, which no module can import


@pytest.fixture(scope="module")
def weekly_file(make_view: Callable[..., WeekView], tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pages") / "weekly.html"
    path.write_text(weekly_page(make_view()), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def valve_file(make_valve_view: Callable[..., ValveView], tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pages") / "valve.html"
    path.write_text(valve_page(make_valve_view()), encoding="utf-8")
    return path


@pytest.fixture
def opened(open_page: Callable[..., Opened], weekly_file: Path) -> Callable[..., Opened]:
    return lambda width, path=weekly_file, **options: open_page(path, width, **options)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_opens_without_an_error_or_a_request(
    opened: Callable[..., Opened], weekly_file: Path, width: int, scheme: str
) -> None:
    page = opened(width, color_scheme=scheme)
    assert page.said == []
    assert page.asked == [weekly_file.as_uri()]


@pytest.mark.parametrize("width", WIDTHS)
def test_every_chart_is_drawn_and_nothing_makes_the_page_scroll_sideways(
    opened: Callable[..., Opened], width: int
) -> None:
    page = opened(width)
    assert page.count(".chart") > 5
    assert page.count(".chart[data-drawn=yes] svg") == page.count(".chart")
    assert page.run("[...document.querySelectorAll('.chart svg')].every(s => s.querySelectorAll('path').length > 8)")
    assert page.run("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("width", WIDTHS)
def test_no_chart_is_cut_off_by_its_box(opened: Callable[..., Opened], width: int) -> None:
    page = opened(width)
    wide = page.run(
        "[...document.querySelectorAll('.chart svg')].map(s => s.getBoundingClientRect().width - "
        "s.closest('.chart').clientWidth).filter(over => over > 1).length"
    )
    assert wide == 0


def test_a_press_on_a_heading_sorts_and_another_turns_round(opened: Callable[..., Opened]) -> None:
    page = opened(1440)
    button = page.tab.get_by_role("button", name="Known")
    shares = "[...document.querySelectorAll('.sortable tbody tr')].map(r => Number(r.lastElementChild.dataset.sort))"
    button.click()
    up = page.run(shares)
    assert up == sorted(up)
    assert page.run("document.querySelector('th[aria-sort=ascending]').textContent") == "Known"
    button.press("Enter")  # by keyboard as well
    assert page.run(shares) == sorted(up, reverse=True)


def test_a_line_of_the_list_leads_to_its_card(opened: Callable[..., Opened]) -> None:
    page = opened(390)
    page.tab.locator("#visit a.where").first.click()
    assert page.tab.url.endswith("#finding-F001")
    assert page.run("Math.abs(document.getElementById('finding-F001').getBoundingClientRect().top) < 200")


def test_folds_open_and_a_hostile_name_never_runs(opened: Callable[..., Opened]) -> None:
    page = opened(1440)
    page.tab.get_by_text("How each thing is computed").click()
    assert page.tab.get_by_text("A dump runs from the opening of the water dump").is_visible()
    assert page.said == []  # a dialog would be told here too


def test_dark_and_light_come_from_the_readers_own_setting(opened: Callable[..., Opened]) -> None:
    ground = "getComputedStyle(document.body).backgroundColor"
    assert opened(1440, color_scheme="light").run(ground) == "rgb(251, 250, 247)"
    assert opened(1440, color_scheme="dark").run(ground) == "rgb(22, 24, 26)"


def test_on_paper_a_link_names_the_section_it_leads_to(opened: Callable[..., Opened]) -> None:
    page = opened(1440)
    page.lay_on_paper()
    said = "link => getComputedStyle(link, '::after').content.match(/[0-9.]+/)?.[0]"
    head = "document.querySelector(link.getAttribute('href') + ' h3, ' + link.getAttribute('href') + ' > summary')"
    links = "[...document.querySelectorAll('#visit a.where, #field th a')]"
    found = page.run(f"{links}.map(link => [({said})(link), {head}.dataset.number])")
    assert len(found) > 3
    assert all(number == of_section and "." in number for number, of_section in found)


def test_on_paper_it_is_black_on_white_with_folds_open(opened: Callable[..., Opened]) -> None:
    page = opened(1440, color_scheme="dark")
    page.tab.emulate_media(media="print")
    assert page.run("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.run("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    page.run("window.dispatchEvent(new Event('beforeprint'))")
    assert page.run("[...document.querySelectorAll('details')].every(fold => fold.open)")
    assert len(page.tab.pdf(format="A4")) > 20_000


@pytest.mark.parametrize("width", WIDTHS)
def test_the_valve_page_draws_all_its_charts(opened: Callable[..., Opened], valve_file: Path, width: int) -> None:
    page = opened(width, valve_file)
    assert page.count(".chart[data-drawn=yes] svg") == page.count(".chart") > 8
    assert page.run("document.documentElement.scrollWidth") <= width
    assert page.said == []
    assert page.asked == [valve_file.as_uri()]


def test_the_traces_stand_exactly_under_each_other(opened: Callable[..., Opened], valve_file: Path) -> None:
    page = opened(1440, valve_file)
    widths = page.run(
        "[...document.querySelectorAll('.traces .chart')].map(c => c.querySelector('path.background').getBBox().width)"
    )
    assert len(widths) == 3
    assert max(widths) - min(widths) <= 1


def test_a_brush_and_the_buttons_choose_a_part_of_the_traces(opened: Callable[..., Opened], valve_file: Path) -> None:
    page = opened(1440, valve_file)
    status = page.tab.locator(".traces [role=status]")
    box = page.tab.locator(".overview svg").bounding_box()
    assert box is not None
    page.tab.mouse.move(box["x"] + 300, box["y"] + 30)
    page.tab.mouse.down()
    page.tab.mouse.move(box["x"] + 420, box["y"] + 30, steps=6)
    page.tab.mouse.up()
    status.filter(has_text="to 2026-05-").wait_for()
    brushed = status.text_content()
    page.tab.get_by_role("button", name="whole period").press("Enter")
    status.filter(has_text="2026-05-18 00:00 to 2026-05-25 00:00").wait_for()
    assert brushed != status.text_content()
    assert page.said == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("which", ["weekly", "valve"])
def test_a_screen_reader_meets_no_serious_fault(
    opened: Callable[..., Opened], weekly_file: Path, valve_file: Path, which: str, scheme: str, width: int
) -> None:
    page = opened(width, {"weekly": weekly_file, "valve": valve_file}[which], color_scheme=scheme)
    page.unfold()
    assert page.serious_faults == []  # judged by axe-core: WCAG 2.2 A and AA, and its best practices


def test_the_judge_of_faults_finds_those_that_are_planted(opened: Callable[..., Opened]) -> None:
    page = opened(1440)
    page.run("document.querySelector('.opening').style.color = 'var(--rule)'")
    page.run("document.querySelectorAll('.chart').forEach(chart => chart.removeAttribute('aria-label'))")
    assert {fault.split(" ")[0] for fault in page.serious_faults} == {"color-contrast", "role-img-alt"}
