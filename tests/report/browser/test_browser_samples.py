"""Every page built from sample_streams/, opened in Debian's Chromium with the network refused, and used as readers do.

The night that fills the database is run once, through the functions that the flows run.
"""

import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from playwright.sync_api import Browser
from polars.testing import assert_frame_equal

from nightgauge.field.calendar import default_until, parse_until
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.nights import run_night
from nightgauge.pipeline.pages import valve_view, write_page, write_weekly
from nightgauge.pipeline.reading import read_exports
from nightgauge.report.valve import valve_page
from nightgauge.store import Store

pytestmark = pytest.mark.page
Opened = Any  # conftest's class, which no module can import
OpenPage = Callable[..., Opened]
SAMPLES = Path(__file__).resolve().parents[3] / "sample_streams"
WIDTHS = (390, 1440)
PAGES = ("weekly", "finished week", "water dump", "oil valve", "gas valve", "repair")
LEAKING, DRIFTING, REPAIRED, REPAIRED_ON = "QB-103", "QB-104", "QB-101", "2026-05-14T12:00"  # by its truth.csv


@dataclass(frozen=True)
class Built:
    """A field with a judged night, and its pages by name."""

    field: Field
    pages: Mapping[str, Path]


def clock() -> datetime:
    return datetime(2026, 11, 1, tzinfo=UTC)


def judged(field_toml: Path) -> tuple[Field, Store, datetime]:
    """Run the field's first night."""
    field = read_field(field_toml)
    store, until = Store(field.database), default_until(field, clock())
    read_exports(field, store, clock)
    report = run_night(field, store, until, clock)
    assert not report.failed
    return field, store, until


def valve_file(field: Field, name: str, vessel: str, element: str, repair: str | None = None) -> Path:
    """Write a valve's page, as `nightgauge valve` does."""
    compare = None if repair is None else parse_until(repair, field.zone)
    view = valve_view(field, Store(field.database), vessel, element, compare=compare)
    return write_page(field.reports / f"{name}.html", valve_page(view))


@pytest.fixture(scope="module")
def samples(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Build the pages once; the browser comes first, as the night is in vain without one."""
    folder = tmp_path_factory.mktemp("samples") / "field"
    shutil.copytree(SAMPLES, folder, ignore=shutil.ignore_patterns("*.duckdb*", "reports"))
    field, store, until = judged(folder / "field.toml")
    weekly = write_weekly(field, store, until)
    (finished,) = field.reports.glob("week-*.html")
    pages = {
        "weekly": weekly,
        "finished week": finished,
        "water dump": valve_file(field, "leaking", LEAKING, "water_dump"),
        "oil valve": valve_file(field, "drifting", DRIFTING, "oil_valve"),
        "gas valve": valve_file(field, "gas", DRIFTING, "gas_valve"),
        "repair": valve_file(field, "repaired", REPAIRED, "water_dump", REPAIRED_ON),
    }
    assert tuple(pages) == PAGES
    return Built(field, pages)


@pytest.fixture
def open_sample(samples: Built, open_page: OpenPage) -> OpenPage:
    return lambda name, width=1440, **options: open_page(samples.pages[name], width, **options)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_whole_says_nothing_and_asks_for_nothing(
    samples: Built, open_sample: OpenPage, name: str, width: int
) -> None:
    page = open_sample(name, width)
    page.unfold()
    assert page.count(".chart[data-drawn=yes] svg") == page.count(".chart") > 2
    assert page.run("[...document.querySelectorAll('.chart svg')].every(s => s.querySelectorAll('path').length > 8)")
    assert page.run("document.documentElement.scrollWidth") <= width
    assert page.said == []
    assert page.asked == [samples.pages[name].as_uri()]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_a_screen_reader_meets_no_serious_fault(open_sample: OpenPage, name: str, scheme: str) -> None:
    page = open_sample(name, color_scheme=scheme)
    page.unfold()
    assert page.serious_faults == []  # judged by axe-core: WCAG 2.2 A and AA, and its best practices


@pytest.mark.parametrize("name", PAGES)
def test_every_link_within_a_page_has_its_target(open_sample: OpenPage, name: str) -> None:
    page = open_sample(name)
    links = "[...document.querySelectorAll('a[href^=\"#\"]')].map(link => decodeURIComponent(link.hash.slice(1)))"
    assert page.run(links)
    assert page.run(f"{links}.filter(id => document.getElementById(id) === null)") == []


def test_each_line_of_the_list_leads_to_the_card_of_its_vessel(open_sample: OpenPage) -> None:
    page = open_sample("weekly", 390)
    lines = page.tab.locator("#visit a")
    assert lines.count() >= 4  # four faults are planted
    for line in lines.all():
        line.click()
        card = page.tab.locator(":target")
        assert card.get_attribute("class") == "card"
        assert line.inner_text().split()[-1] in card.locator("h3").inner_text()
        assert abs(card.bounding_box()["y"]) < 200


def test_a_vessel_of_the_table_leads_to_its_fold_and_opens_it(open_sample: OpenPage) -> None:
    page = open_sample("weekly")
    page.tab.get_by_role("link", name=DRIFTING, exact=True).and_(page.tab.locator("#field a")).click()
    fold = page.tab.locator("details:target")
    assert DRIFTING in fold.locator("summary").inner_text()
    fold.locator("svg.vessel").wait_for(state="visible")


def test_every_heading_sorts_up_and_down_with_what_is_not_known_last(open_sample: OpenPage, samples: Built) -> None:
    page = open_sample("weekly")
    for column, heading in enumerate(page.tab.locator(".sortable thead button").all()):
        for direction in ("ascending", "descending"):
            heading.click()
            assert page.count(f".sortable th[aria-sort={direction}]") == 1
            keys = page.run(
                f"[...document.querySelectorAll('.sortable tbody tr')].map(r => r.children[{column}].dataset.sort)"
            )
            assert len(keys) == len(samples.field.vessels)
            known = [key for key in keys if key]
            assert keys == known + [""] * (len(keys) - len(known))
            ordered = known if column == 0 else [float(key) for key in known]
            assert ordered == sorted(ordered, reverse=direction == "descending")


def test_the_csv_of_a_valve_page_holds_the_cycles_of_the_database(open_sample: OpenPage, samples: Built) -> None:
    page = open_sample("water dump")
    with page.tab.expect_download() as started:
        page.tab.get_by_role("link", name="as CSV").click()
    got = pl.read_csv(started.value.path(), try_parse_dates=True)
    until = default_until(samples.field, clock())
    with Store(samples.field.database).reading() as reader:
        stored = reader.cycles(LEAKING, until - timedelta(days=7), until).sort("opened_utc")
    assert got.height > 0
    assert started.value.suggested_filename == f"{LEAKING}-dumps.csv"
    same = got.cast({name: dtype for name, dtype in stored.schema.items() if name in got.columns})
    assert_frame_equal(same, stored.select(pl.exclude(pl.Datetime), pl.col(pl.Datetime).dt.truncate("1ms")),
                       check_column_order=False)  # fmt: skip  # stamps are written to the millisecond


@pytest.mark.parametrize("name", PAGES)
def test_on_paper_nothing_is_hidden_or_cut(open_sample: OpenPage, name: str) -> None:
    page = open_sample(name, color_scheme="dark")
    # A sheet holds three cards or vessels at most and one at least; what is not in them is a sheet for each section.
    parts = page.count(".card") + page.count("details.about")
    assert parts / 3 <= page.pages_on_paper() <= parts + page.count("main > section")
    page.lay_on_paper()
    assert page.count("details:not([open])") == 0
    assert page.count(".chart[data-drawn=yes] svg") == page.count(".chart")
    assert page.run("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.run("document.documentElement.scrollWidth <= innerWidth")
    whole = "[...document.querySelectorAll('.card, .chart, .visit, figure, tr')]"
    assert page.run(f"{whole}.every(one => getComputedStyle(one).breakInside === 'avoid')")
    # What is higher than a sheet is cut whatever its style says.
    assert page.run(f"{whole}.every(one => one.getBoundingClientRect().height < innerHeight)")


HOSTILE_ID = '"><img src=x onerror=alert(1)>'
HOSTILE_NAME = "<script>alert(2)</script>"
HOSTILE_TAG = '<script>alert("tag")</script>'


@pytest.fixture(scope="module")
def hostile(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Built:
    """A vessel that dumps every half hour and stops on its fourth day; its names are markup."""
    folder = tmp_path_factory.mktemp("hostile")
    (folder / "field.toml").write_text(
        f"""
        name = '{HOSTILE_NAME}'
        time_zone = "UTC"
        tags = "tags.csv"
        streams = ["*.parquet"]
        as_of = "2026-05-05T00:00:00+00:00"
        [[vessel]]
        id = '{HOSTILE_ID}'
        name = '{HOSTILE_NAME}'
        service = "free-water knockout"
        [vessel.water_dump]
        action = "snap"
        opens_at = "1.2 m"
        closes_at = "1.0 m"
        """
    )
    tags = [[HOSTILE_TAG, HOSTILE_ID, "interface_level", "m"], ["ZS", HOSTILE_ID, "water_dump_open", ""]]
    pl.DataFrame(tags, ["tag", "vessel", "signal", "unit"], orient="row").write_csv(folder / "tags.csv")
    minutes = np.arange(4 * 1440)
    stuck = minutes > 3 * 1440 + 333
    phase = minutes % 30
    level = np.where(phase < 3, 1.2 - phase / 15, 1.0 + (phase - 3) / 135)
    level = np.where(stuck, np.minimum(1.0 + (minutes - 3 * 1440 - 333) / 135, 1.6), level)
    stamps = [
        f"{datetime(2026, 5, 1, tzinfo=UTC) + timedelta(minutes=int(minute)):%Y-%m-%dT%H:%M:%SZ}" for minute in minutes
    ]
    columns = {HOSTILE_TAG: level, "ZS": ((phase < 3) & ~stuck).astype(float)}
    pl.concat(
        [pl.DataFrame({"tag": tag, "timestamp": stamps, "value": value}) for tag, value in columns.items()]
    ).write_parquet(folder / "one.parquet")
    field, store, until = judged(folder / "field.toml")
    return Built(field, {
        "weekly": write_weekly(field, store, until),
        "water dump": valve_file(field, "valve", HOSTILE_ID, "water_dump"),
    })  # fmt: skip


@pytest.mark.parametrize("name", ["weekly", "water dump"])
def test_names_that_are_markup_end_as_text(hostile: Built, open_page: OpenPage, name: str) -> None:
    page = open_page(hostile.pages[name], 1440)
    page.unfold()
    assert page.count("img") == 0
    assert HOSTILE_NAME in page.tab.inner_text("body")
    assert HOSTILE_ID in page.tab.inner_text("body")
    # Neither a dialog nor a word of the page's policy; nor of a chart, though these dumps have no past to lie over.
    assert page.said == []
    assert page.asked == [hostile.pages[name].as_uri()]
    assert page.serious_faults == []
