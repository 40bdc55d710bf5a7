"""The pictures that README.md shows: there, small enough to load on a slow line, and each told in words."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SHOWN = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
PNG = b"\x89PNG\r\n\x1a\n"  # W3C, Portable Network Graphics, 5.2 PNG signature


def test_the_readme_shows_a_picture_of_each_page() -> None:
    assert {place for _, place in SHOWN} == {"tests/pictures/weekly.png", "tests/pictures/valve.png"}


def test_its_pictures_are_pictures_of_less_than_300_kb() -> None:
    for _, place in SHOWN:
        picture = (ROOT / place).read_bytes()
        assert picture.startswith(PNG), place
        assert len(picture) < 300_000, f"{place}: run uv run python tests/readme_pictures.py"


def test_its_pictures_are_told_in_words() -> None:
    assert [place for words, place in SHOWN if len(words.split()) < 10] == []
