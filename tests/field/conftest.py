"""Builders of small field folders."""

from collections.abc import Callable
from pathlib import Path

import pytest

from nightgauge.errors import FieldFolderError
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field

FIELD = """
name = "Quillet Bench"
time_zone = "America/Denver"
atmospheric_pressure = "12.3 psi"
tags = "tags.csv"
streams = ["streams/**/*.csv*"]
"""

VESSEL = """
[[vessel]]
id = "QB-101"
service = "free-water knockout"
orientation = "horizontal"
inside_diameter = "8 ft"
length = "20 ft"
heads = "2:1 ellipsoidal"
normal_interface = "44 in"
normal_oil_level = "66 in"
max_working_pressure = "125 psig"
"""

TAGS = "tag,vessel,signal,unit\nQB101_PT,QB-101,vessel_pressure,psig\n"

Read = Callable[..., Field]
Problems = Callable[..., list[str]]


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Return a writer of a field folder: more lines of field.toml after those of the vessel, rows of tags.csv."""

    def _write(more: str = "", *, field: str = FIELD, vessel: str = VESSEL, tags: str | bytes | None = TAGS) -> Path:
        path = tmp_path / "field.toml"
        path.write_bytes((field + vessel + more).encode())
        if tags is not None:
            (tmp_path / "tags.csv").write_bytes(tags if isinstance(tags, bytes) else tags.encode())
        return path

    return _write


@pytest.fixture
def read(write: Callable[..., Path]) -> Read:
    """Return a reader of a folder written for the test; takes what `write` takes."""
    return lambda *args, **kwargs: read_field(write(*args, **kwargs))


@pytest.fixture
def problems(write: Callable[..., Path]) -> Problems:
    """Return the problems of a folder written for the test, as lines; takes what `write` takes."""

    def _problems(*args: object, **kwargs: object) -> list[str]:
        path = write(*args, **kwargs)
        try:
            read_field(path)
        except FieldFolderError as error:
            return [str(problem) for problem in error.problems]
        return []

    return _problems


@pytest.fixture
def row_of(read: Read) -> Callable[..., object]:
    """Return a reader of one row of tags.csv, given by header and cells."""
    return lambda header, cells, **kwargs: read(tags=f"tag,vessel,signal,unit,{header}\n{cells}\n", **kwargs).tags[0]
