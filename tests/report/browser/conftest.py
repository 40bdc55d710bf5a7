"""Chromium with the network refused, a page opened in it, and axe-core's judgement of that page.

Where there is no Chromium the page tests skip and say so; REQUIRE_CHROMIUM=1 turns the skip into a failure.
"""

import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, sync_playwright
from playwright.sync_api import Page as Tab

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
SHEET_PX = (718, 1046)
"""A4 (ISO 216: 210 mm x 297 mm) less 1 cm on each side, at CSS's 96 px an inch."""


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


class Opened:
    """A page in a tab, with all that it said on the console, showed as a dialog, and asked for."""

    def __init__(self, context: BrowserContext, path: Path) -> None:
        self.tab: Tab = context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.tab.on("console", lambda message: self.said.append(f"{message.type}: {message.text}"))
        self.tab.on("pageerror", lambda error: self.said.append(f"error: {error}"))
        self.tab.on("dialog", self._dismiss)
        self.tab.on("request", lambda request: self.asked.append(request.url))
        self.tab.goto(path.as_uri())
        self.wait_for_charts()

    def _dismiss(self, dialog: Any) -> None:
        self.said.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def wait_for_charts(self) -> None:
        """Wait until every chart is drawn, or has failed, or lies in a closed fold."""
        self.tab.wait_for_function(
            "() => [...document.querySelectorAll('.chart')].every(c => c.clientWidth === 0 || "
            "['yes', 'failed'].includes(c.dataset.drawn))"
        )

    def unfold(self) -> None:
        """Open every fold, and wait for the charts in them."""
        self.run("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
        self.wait_for_charts()

    def count(self, selector: str) -> int:
        return self.tab.locator(selector).count()

    def run(self, script: str) -> Any:
        return self.tab.evaluate(script)

    @property
    def serious_faults(self) -> list[str]:
        """Return what axe-core finds of impact serious or critical: the rule and the place."""
        found = Axe().run(self.tab).response["violations"]
        return [
            f"{one['id']} ({one['impact']}) at {node['target']}: {node['failureSummary']}"
            for one in found
            if one["impact"] in ("serious", "critical")
            for node in one["nodes"]
        ]

    def pages_on_paper(self) -> int:
        """Return how many A4 pages the print preview has, with margins of 1 cm as browsers set them."""
        margin = dict.fromkeys(("top", "right", "bottom", "left"), "1cm")
        return len(re.findall(rb"/Type\s*/Page\b", self.tab.pdf(format="A4", margin=margin)))

    def lay_on_paper(self) -> None:
        """Lay the page out as on paper: print style, as wide as A4 between its margins, folds opened."""
        self.tab.emulate_media(media="print")
        self.tab.set_viewport_size({"width": SHEET_PX[0], "height": SHEET_PX[1]})
        self.run("window.dispatchEvent(new Event('beforeprint'))")
        self.wait_for_charts()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Opened]]:
    """Return an opener of pages: `open_page(path, width, color_scheme="dark")`; what it opened is closed after."""
    contexts = []

    def open_at(path: Path, width: int, **options: Any) -> Opened:
        context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, **options)
        contexts.append(context)
        return Opened(context, path)

    yield open_at
    for context in contexts:
        context.close()
