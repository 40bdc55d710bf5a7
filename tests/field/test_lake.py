"""Where the samples' lake lies, and what must not stand in its address."""

from collections.abc import Callable
from pathlib import Path

import pytest

from nightgauge.field.settings import Field

from .conftest import FIELD

Read = Callable[..., Field]
Problems = Callable[..., list[str]]


def with_lines(lines: str) -> str:
    return FIELD + lines


def test_samples_live_in_the_database_unless_it_says_otherwise(read: Read) -> None:
    assert read().samples == "duckdb"


def test_a_lake_stands_beside_field_toml_unless_it_says_otherwise(read: Read, tmp_path: Path) -> None:
    assert read(field=with_lines('samples = "lake"\n')).lake == str(tmp_path / "lake")
    elsewhere = read(field=with_lines('samples = "lake"\nlake = "data/water"\n'))
    assert elsewhere.lake == str(tmp_path / "data" / "water")


def test_an_address_is_left_as_it_is(read: Read) -> None:
    assert read(field=with_lines('samples = "lake"\nlake = "s3://bucket/lake/"\n')).lake == "s3://bucket/lake"


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('lake = "data/lake"\n', 'samples = "lake" beside it'),
        ('samples = "duckdb"\nlake = "s3://bucket"\n', 'samples = "lake" beside it'),
        ('samples = "lake"\nlake = "s3://name:word@bucket/lake"\n', "a name or a password"),
        ('samples = "lake"\nlake = "s3://[bucket/lake"\n', "cannot be read"),
        ('samples = "parquet"\n', 'one of "duckdb", "lake"'),
    ],
)
def test_what_cannot_be_a_lake_is_told(problems: Problems, lines: str, says: str) -> None:
    (problem,) = problems(field=with_lines(lines))
    assert says in problem


def test_a_password_in_the_address_is_not_repeated(problems: Problems) -> None:
    (problem,) = problems(field=with_lines('samples = "lake"\nlake = "s3://name:swordfish@bucket/lake"\n'))
    assert "swordfish" not in problem
    assert "AWS_SECRET_ACCESS_KEY" in problem
