"""What the draft leaves blank is what `nightgauge check` lists as missing: two lists made in two rooms, compared."""

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

from nightgauge.field.check import missing_of
from nightgauge.field.read import read_field
from nightgauge.pipeline.adopting import adopt

SAMPLES = Path(__file__).resolve().parents[2] / "sample_streams"
EITHER = "required_retention, or oil_gravity and temperature"
"""One line of the check for what either of two ways gives; the draft has a blank for each key."""


@pytest.fixture(scope="module")
def drafted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a draft of the last week of `sample_streams`, whose suites of instruments all differ."""
    exports = sorted((SAMPLES / "streams").glob("*"))[-12:]
    out = tmp_path_factory.mktemp("drafted")
    adopt(exports, out, "America/Denver", datetime(2026, 6, 1, tzinfo=UTC))
    return out


def blanks_by_vessel(toml: str) -> dict[str, set[str]]:
    """Return the keys that stand as comments, by vessel, with the table they stand in."""
    found: dict[str, set[str]] = {}
    for block in toml.split("\n[[vessel]]\n")[1:]:
        table, blank = "", set()
        for line in block.split("\n[[")[0].splitlines():
            if head := re.fullmatch(r"\[vessel\.(\w+)\]", line):
                table = f"{head[1]}."
            elif key := re.match(r"# (\w+) = ", line):
                blank.add(table + key[1])
        found[re.findall(r'^id = "(.*)"', block, re.M)[0]] = blank
    return found


def test_check_lists_as_missing_exactly_what_the_draft_leaves_blank(drafted: Path) -> None:
    field = read_field(drafted)
    blanks = blanks_by_vessel((drafted / "field.toml").read_text())
    assert len(field.vessels) > 3
    for vessel in field.vessels:
        signals = {row.signal for row in field.tags if row.vessel == vessel.id}
        missing = {one.key for one in missing_of(vessel, signals) if not one.key.startswith("tag for ")}
        assert (missing - {EITHER}) | {"required_retention"} == blanks[vessel.id], vessel.id


def test_a_blank_filled_in_is_a_key_that_the_field_reader_takes(drafted: Path) -> None:
    """Every form offered is one that the reader knows: each is filled in as it stands, with a number for the ?."""
    text = (drafted / "field.toml").read_text()
    filled = re.sub(r"^# (\w+ = .*)$", lambda blank: blank[1].replace("?", "30"), text, flags=re.M)
    for key, usual in (("inside_diameter", "10 ft"), ("opens_at", "40 in"), ("closes_at", "36 in"),
                       ("normal_oil_level", "80 in")):  # fmt: skip
        filled = re.sub(rf'^{key} = "30 \w+"', f'{key} = "{usual}"', filled, flags=re.M)
    filled = re.sub(r'"30 psi"', '"12.3 psi"', filled).replace('to = "30 degF"', 'to = "140 degF"')
    filled = filled.replace('vessel = "30"', 'vessel = "V-101"')
    tomllib.loads(filled)
    folder = drafted.parent / "filled"
    folder.mkdir()
    (folder / "tags.csv").write_text((drafted / "tags.csv").read_text())
    (folder / "field.toml").write_text(filled)
    for vessel in read_field(folder).vessels:
        assert vessel.inside_diameter_m == pytest.approx(3.048)
        assert vessel.heads == "2:1 ellipsoidal"


def test_the_draft_tells_how_tags_are_recorded(drafted: Path) -> None:
    tags = (drafted / "tags.csv").read_text()
    assert re.search(r"LIT-101A,.*every \d+ s at most, moves of [0-9.]+ and more", tags)
