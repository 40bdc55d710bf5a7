"""The command as its user types it, and the page it makes with names that would be markup or addresses."""

import re
from collections.abc import Callable
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner, Result

from nightgauge.cli.app import application
from nightgauge.errors import SourceError
from nightgauge.report.adoption import trace_of

NASTY = ('<script>alert("PIT-101")</script>', '"><img src="http://evil.example/x.png">PIT-102', "LIT-103 & 'A'")
FIRST = 1_777_000_000


def invoke(*arguments: object) -> Result:
    words = [str(argument) for argument in arguments]
    return CliRunner().invoke(application(words), words)


@pytest.fixture
def exports(tmp_path: Path, fleet: dict[str, tuple[str, str, object]]) -> Path:
    """Three vessels in one long Parquet."""
    folder = tmp_path / "exports"
    folder.mkdir()
    pl.concat(
        pl.DataFrame({"tag": tag, "timestamp": range(FIRST, FIRST + 60 * len(values), 60), "value": values})  # type: ignore[arg-type]
        for tag, (_, _, values) in fleet.items()
    ).write_parquet(folder / "week.parquet")
    return folder


def test_adopt_says_what_it_drafted_and_check_takes_the_draft(exports: Path, tmp_path: Path) -> None:
    out = tmp_path / "field"
    result = invoke("adopt", exports, "--out", out, "--time-zone", "America/Denver")
    assert result.exit_code == 0
    assert "3 vessels, 21 tags" in result.output
    assert (out / "adopted.html").is_file()
    checked = invoke("check", out / "field.toml")
    assert checked.exit_code == 0
    assert "missing inside_diameter" in checked.output
    again = invoke("adopt", exports, "--out", out)
    assert "what you had changed was kept" in again.output


def test_a_broken_export_is_named_the_rest_is_drafted_and_the_end_is_no_success(exports: Path, tmp_path: Path) -> None:
    (exports / "broken.parquet").write_bytes(b"PAR1 and nothing more")
    result = invoke("adopt", exports, "--out", tmp_path / "field")
    assert isinstance(result.exception, SourceError)
    assert "broken.parquet" in result.output
    assert (tmp_path / "field" / "tags.csv").is_file()


def test_a_folder_without_exports_is_refused(tmp_path: Path) -> None:
    result = invoke("adopt", tmp_path, "--out", tmp_path / "field")
    assert result.exit_code != 0
    assert "found no exports" in str(result.exception)


class _Elements(HTMLParser):
    """All elements of a page with their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep one."""
        self.found.append((tag, dict(attrs)))


def nasty_page(folder: Path, values: Callable[[int], list[float]]) -> str:
    pl.concat(
        pl.DataFrame({"tag": tag, "timestamp": range(FIRST, FIRST + 60 * 3000, 60), "value": values(at)})
        for at, tag in enumerate(NASTY)
    ).write_parquet(folder / "nasty.parquet")
    result = invoke("adopt", folder / "nasty.parquet", "--out", folder / "field")
    assert result.exit_code == 0, result.exception
    return (folder / "field" / "adopted.html").read_text()


def test_names_with_markup_are_text_on_the_page_and_nothing_is_asked_of_others(tmp_path: Path) -> None:
    html = nasty_page(tmp_path, lambda at: [40.0 + at + ((minute * (7 + at)) % 31) / 10.0 for minute in range(3000)])
    page = _Elements()
    page.feed(html)
    assert not [tag for tag, _ in page.found if tag in {"script", "img", "link", "iframe", "object", "embed", "form"}]
    assert not [
        attributes for _, attributes in page.found if "src" in attributes or any(a.startswith("on") for a in attributes)
    ]
    assert all(attributes["href"].startswith("#") for _, attributes in page.found if attributes.get("href"))  # type: ignore[union-attr]
    assert re.findall(r"@import|url\((?!#|data:)", html) == []
    assert "&lt;script&gt;alert(" in html
    (policy,) = [attributes["content"] for tag, attributes in page.found if "http-equiv" in attributes]
    assert policy is not None
    assert "default-src 'none'" in policy


def test_a_switch_is_drawn_as_steps() -> None:
    """Between two turns an hour apart a switch stands still: no line slopes from one to the other."""
    drawn = str(trace_of(np.array([0.0, 3600.0, 7200.0]), np.array([0.0, 1.0, 0.0]), "ZSO-1", "water_dump_open"))
    points = [tuple(map(float, one.split(","))) for one in re.findall(r'points="([^"]+)"', drawn)[0].split()]
    assert all(one[0] == other[0] or one[1] == other[1] for one, other in pairwise(points))
