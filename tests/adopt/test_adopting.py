"""The whole way: exports in several forms to a folder that the field reader accepts, and again over changes."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from nightgauge.errors import SettingError
from nightgauge.field.read import read_field
from nightgauge.pipeline.adopting import Adopted, adopt

Fleet = Mapping[str, tuple[str, str, Any]]
CLOCK = datetime(2026, 6, 1, tzinfo=UTC)
FIRST = 1_777_000_000


@pytest.fixture
def exports(tmp_path: Path, fleet: Fleet) -> Path:
    """One vessel a file: long CSV with a unit column and states as words, long Parquet, wide CSV."""
    folder = tmp_path / "exports"
    folder.mkdir()
    for number in ("101", "102", "103"):
        mine = {tag: of for tag, of in fleet.items() if of[0] == number}
        rows = pl.concat(
            pl.DataFrame({"tag": tag, "timestamp": range(FIRST, FIRST + 60 * len(values), 60), "value": values})
            for tag, (_, _, values) in mine.items()
        )
        if number == "101":
            is_switch = pl.col("tag").str.starts_with("ZSO")
            word = pl.when(pl.col("value") > 0.5).then(pl.lit("OPEN")).otherwise(pl.lit("CLOSED"))
            text = pl.when(is_switch).then(word).otherwise(pl.col("value").cast(pl.String))
            unit = pl.when(pl.col("tag").str.starts_with("PIT")).then(pl.lit("psig")).otherwise(pl.lit(""))
            rows.with_columns(value=text, unit=unit).write_csv(folder / "long.csv")
        elif number == "102":
            rows.write_parquet(folder / "long.parquet")
        else:
            rows.pivot(on="tag", index="timestamp", values="value").write_csv(folder / "wide.csv")
    return folder


def adopted(exports: Path, out: Path) -> Adopted:
    return adopt([exports], out, "America/Denver", CLOCK)


def test_the_draft_is_a_field_folder_with_every_tag_in_its_place(exports: Path, tmp_path: Path, fleet: Fleet) -> None:
    adopted(exports, tmp_path / "field")
    field = read_field(tmp_path / "field")
    assert {row.tag: (row.vessel, row.signal) for row in field.tags} == {
        tag: (f"V-{vessel}", signal) for tag, (vessel, signal, _) in fleet.items()
    }
    assert dict(next(row for row in field.tags if row.tag == "ZSO-101W").states) == {"CLOSED": 0.0, "OPEN": 1.0}
    assert field.time_zone == "America/Denver"


def test_a_unit_column_is_taken_over(exports: Path, tmp_path: Path) -> None:
    draft = adopted(exports, tmp_path / "field").draft
    notes = {row.tag: row.note for row in draft.rows}
    assert "unit assumed" not in notes["PIT-101"]
    assert "unit assumed" in notes["PIT-102"]


def test_what_a_person_has_changed_stays(exports: Path, tmp_path: Path) -> None:
    out = tmp_path / "field"
    adopted(exports, out)
    toml = (out / "field.toml").read_text().replace('# length = "? ft"', 'length = "20 ft"', 1)
    (out / "field.toml").write_text(toml.replace('id = "V-102"', 'id = "North"'))
    tags = (out / "tags.csv").read_text().replace(",V-102,", ",North,")
    (out / "tags.csv").write_text(tags)
    again = adopted(exports, out)
    assert again.is_again
    assert (out / "tags.csv").read_text() == tags
    field = read_field(out)
    assert [vessel.id for vessel in field.vessels] == ["V-101", "North", "V-103"]
    assert field.vessels[0].length_m == pytest.approx(6.096)  # 20 ft of 0.3048 m


def test_drafting_twice_is_drafting_once(exports: Path, tmp_path: Path) -> None:
    out = tmp_path / "field"
    adopted(exports, out)
    first = [(out / name).read_text() for name in ("field.toml", "tags.csv", "unplaced.csv")]
    adopted(exports, out)
    assert [(out / name).read_text() for name in ("field.toml", "tags.csv", "unplaced.csv")] == first


def test_an_export_that_cannot_be_read_is_named_and_the_rest_is_drafted(exports: Path, tmp_path: Path) -> None:
    (exports / "broken.parquet").write_bytes(b"PAR1 and nothing more")
    found = adopted(exports, tmp_path / "field")
    assert len(found.refused) == 1
    assert "broken.parquet" in found.refused[0]
    assert len(found.draft.vessels) == 3


def test_a_field_folder_that_was_not_drafted_here_is_not_written_over(exports: Path, tmp_path: Path) -> None:
    (tmp_path / "field.toml").write_text("name = 'mine'\n")
    with pytest.raises(SettingError, match="was not drafted here"):
        adopted(exports, tmp_path)
    assert (tmp_path / "field.toml").read_text() == "name = 'mine'\n"


def test_nothing_to_read_and_an_unknown_zone_are_told(exports: Path, tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="nothing there"):
        adopt([tmp_path / "no"], tmp_path / "field", None, CLOCK)
    (tmp_path / "empty").mkdir()
    with pytest.raises(SettingError, match="no exports"):
        adopt([tmp_path / "empty"], tmp_path / "field", None, CLOCK)
    with pytest.raises(SettingError, match="IANA zone"):
        adopt([exports], tmp_path / "field", "Mars/Olympus", CLOCK)


def test_the_page_shows_each_tag_and_loads_nothing(exports: Path, tmp_path: Path, fleet: Fleet) -> None:
    page = adopted(exports, tmp_path / "field").page.read_text()
    assert all(tag in page for tag in fleet)
    assert page.count('class="tagtrace"') == len(fleet)
    assert "default-src &#39;none&#39;" in page
