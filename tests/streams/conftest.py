"""Builders: a small field with one tag of each kind, and exports written from text."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from nightgauge.field.settings import Field, TagRow
from nightgauge.streams import ParsedExport, TagTable, fingerprint, read_export
from nightgauge.units import Conversion

CLOCK = datetime(2026, 11, 20, tzinfo=UTC)


def tag_row(tag: str, signal: str, conversion: Conversion = Conversion(1.0, 0.0), **more: Any) -> TagRow:  # noqa: B008  frozen
    """One row of tags.csv of vessel V-1."""
    return TagRow(tag, "V-1", signal, "", conversion, 3600.0, **more)


TAGS = (
    (11, tag_row("P", "vessel_pressure", Conversion(2.0, 1.0))),
    (12, tag_row("L", "interface_level")),
    (13, tag_row("S", "water_dump_open", states={"OPEN": 1.0, "SHUT OFF": 0.0})),
    (14, tag_row("W", "well_on_test")),
    (15, tag_row("D", "temperature", to_utc=datetime(2026, 5, 1, tzinfo=UTC))),
    (16, tag_row("D", "temperature", Conversion(10.0, 0.0), from_utc=datetime(2026, 6, 1, tzinfo=UTC))),
)


@dataclass(frozen=True)
class Bench:
    """A field folder to write exports into and read them back."""

    field: Field
    tags: TagTable
    clock: datetime = CLOCK

    def write(self, content: bytes | str, name: str = "export.csv") -> Path:
        path = self.field.folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    def read(self, content: bytes | str, name: str = "export.csv", **more: Any) -> ParsedExport:
        path = self.write(content, name)
        return read_export(fingerprint(path, self.field.folder), self.field, self.tags, self.clock, **more)

    def with_field(self, **changes: Any) -> "Bench":
        return replace(self, field=replace(self.field, **changes))

    def with_tags(self, *rows: TagRow) -> "Bench":
        return replace(self, tags=TagTable(list(enumerate(rows, 11))))


def make_field(folder: Path, **settings: Any) -> Field:
    return Field(
        path=folder / "field.toml",
        name="Test bench",
        tags=tuple(row for _, row in TAGS),
        vessels=(),
        **{"time_zone": "America/Denver", "streams": ("streams/*",), "ignore": ("*.SPARE",), **settings},
    )


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(make_field(tmp_path), TagTable(TAGS))


@pytest.fixture
def values() -> Callable[[ParsedExport], Mapping[int, list[float | str | None]]]:
    """What was read, by tag number, in order of time."""

    def by_tag(parsed: ParsedExport) -> Mapping[int, list[float | str | None]]:
        found: dict[int, list[float | str | None]] = {}
        for tag_id, _, value, text_value, _ in parsed.samples.rows():
            found.setdefault(tag_id, []).append(text_value if text_value is not None else value)
        return found

    return by_tag
