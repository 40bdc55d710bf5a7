"""Makes the pictures of README.md: the top of the weekly page and of a valve page, built from sample_streams/.

    uv run python tests/readme_pictures.py [FOLDER]

Writes weekly.png and valve.png into FOLDER, by default tests/pictures; needs Debian's Chromium. The field is copied
to a temporary folder, its night run there.
"""

import shutil
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import sync_playwright

from nightgauge.field.calendar import default_until
from nightgauge.field.read import read_field
from nightgauge.pipeline.nights import run_night
from nightgauge.pipeline.pages import valve_view, write_page, write_weekly
from nightgauge.pipeline.reading import read_exports
from nightgauge.report.valve import valve_page
from nightgauge.store import Store

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "tests" / "pictures"
LEAKING = "QB-103"
"""A vessel whose water dump leaks, by the truth.csv of sample_streams: its valve page has most to show."""
CHROMIUM = Path("/usr/bin/chromium")
WIDTH_PX, HEIGHT_PX = 1080, 1360
"""The first screen and the beginning of the proof, on a desk."""
BYTES_AT_MOST = 300_000
DRAWN = (
    "() => [...document.querySelectorAll('.chart')].every(c => c.clientWidth === 0 || c.dataset.drawn === 'yes')"
    " && document.fonts.status === 'loaded'"
)


def clock() -> datetime:
    """Return the time; only the night's own record shows it."""
    return datetime.now(UTC)


def build_pages(folder: Path) -> dict[str, Path]:
    """Run the demonstration field's night in a folder; return its pages by the name of their picture."""
    shutil.copytree(ROOT / "sample_streams", folder, ignore=shutil.ignore_patterns("*.duckdb*", "reports"))
    field = read_field(folder / "field.toml")
    store, until = Store(field.database), default_until(field, clock())
    read_exports(field, store, clock)
    run_night(field, store, until, clock)
    valve = valve_page(valve_view(field, store, LEAKING, "water_dump"))
    return {"weekly": write_weekly(field, store, until), "valve": write_page(field.reports / "valve.html", valve)}


def take_pictures(pages: dict[str, Path], into: Path) -> list[Path]:
    """Write the top of each page as a PNG."""
    into.mkdir(parents=True, exist_ok=True)
    written = []
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=["--headless", "--no-sandbox"])
        context = chromium.new_context(viewport={"width": WIDTH_PX, "height": HEIGHT_PX}, offline=True)
        for name, page in pages.items():
            tab = context.new_page()
            tab.goto(page.as_uri())
            tab.wait_for_function(DRAWN)
            written.append(into / f"{name}.png")
            tab.screenshot(path=written[-1])
        chromium.close()
    return written


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        made = take_pictures(build_pages(Path(scratch) / "field"), Path(sys.argv[1]) if sys.argv[1:] else PICTURES)
    heavy = [f"{path}: {path.stat().st_size:,} bytes" for path in made if path.stat().st_size > BYTES_AT_MOST]
    if heavy:
        sys.exit(f"more than {BYTES_AT_MOST:,} bytes: {'; '.join(heavy)}; lower HEIGHT_PX")
