"""The weekly page in Debian's Chromium, with the network refused: no error, no request, charts drawn, nothing wide.

Where there is no Chromium these tests skip and say so; REQUIRE_CHROMIUM=1 turns the skip into a failure.
"""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, sync_playwright
from playwright.sync_api import Page as Tab

from nightgauge.report.valve import ValveView, valve_page
from nightgauge.report.weekly import WeekView, weekly_page

pytestmark = pytest.mark.page
CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
WIDTHS = (390, 1440)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not CHROMIUM.exists():
        if os.environ.get("REQUIRE_CHROMIUM") == "1":
            pytest.fail(f"no Chromium at {CHROMIUM}, and REQUIRE_CHROMIUM=1 asks for one")
        pytest.skip(f"no Chromium at {CHROMIUM}: the page is not opened")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


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


class Opened:
    """A page in a tab, with all that it said on the console and all that it asked for."""

    def __init__(self, context: BrowserContext, path: Path) -> None:
        self.tab: Tab = context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.tab.on("console", lambda message: self.said.append(f"{message.type}: {message.text}"))
        self.tab.on("pageerror", lambda error: self.said.append(f"error: {error}"))
        self.tab.on("request", lambda request: self.asked.append(request.url))
        self.tab.goto(path.as_uri())
        self.tab.wait_for_function(
            "() => [...document.querySelectorAll('.chart')].every(c => c.clientWidth === 0 || "
            "['yes', 'failed'].includes(c.dataset.drawn))"
        )

    def count(self, selector: str) -> int:
        return self.tab.locator(selector).count()

    def run(self, script: str) -> Any:
        return self.tab.evaluate(script)


@pytest.fixture
def opened(browser: Browser, weekly_file: Path) -> Iterator[Callable[..., Opened]]:
    contexts = []

    def open_at(width: int, path: Path = weekly_file, **options: Any) -> Opened:
        context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, **options)
        contexts.append(context)
        return Opened(context, path)

    yield open_at
    for context in contexts:
        context.close()


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
    asked: list[str] = []
    page.tab.on("dialog", lambda dialog: asked.append(dialog.message))
    page.tab.get_by_text("How each thing is computed").click()
    assert page.tab.get_by_text("A dump runs from the opening of the water dump").is_visible()
    assert asked == []


def test_dark_and_light_come_from_the_readers_own_setting(opened: Callable[..., Opened]) -> None:
    ground = "getComputedStyle(document.body).backgroundColor"
    assert opened(1440, color_scheme="light").run(ground) == "rgb(251, 250, 247)"
    assert opened(1440, color_scheme="dark").run(ground) == "rgb(22, 24, 26)"


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
