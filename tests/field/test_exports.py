"""Where the exports lie and how their stamps are written."""

from collections.abc import Callable

import pytest

Problems = Callable[..., list[str]]
FIELD = 'name = "A"\ntime_zone = "UTC"\ntags = "tags.csv"\n'


def field(line: str) -> str:
    return FIELD + line + "\n"


@pytest.mark.parametrize("pattern", ["*.csv", "streams/**/*.csv*", "**/*.parquet", "../exports/*.csv", "a b/[0-9].csv"])
def test_a_pattern_within_or_beside_the_folder_is_accepted(problems: Problems, pattern: str) -> None:
    assert problems(field=field(f'streams = ["{pattern}"]')) == []


@pytest.mark.parametrize("pattern", ["/data/*.csv", "streams/**.csv", ".", "**x/*.csv"])
def test_a_pattern_that_cannot_be_searched_for_is_told(problems: Problems, pattern: str) -> None:
    found = problems(field=field(f'streams = ["*.csv", "{pattern}"]'))
    assert len(found) == 1
    assert found[0].startswith(f'field.toml, streams: found "{pattern}", expected a pattern relative to field.toml')


@pytest.mark.parametrize(
    "time_format",
    [
        "%d.%m.%Y %H:%M:%S",
        "%m/%d/%y %I:%M %p",
        "%Y%m%d%H%M%S",
        "%Y-%m-%dT%H:%M:%S.%f%z",
        "%d-%b-%Y %H:%M",
        "%F %T",
        "%e %B %Y, %R",
        "100%% %Y-%j %H",
    ],
)
def test_a_format_with_date_and_hour_is_accepted(problems: Problems, time_format: str) -> None:
    assert problems(field=field(f'streams = ["*.csv"]\ntime_format = "{time_format}"')) == []


@pytest.mark.parametrize(
    "time_format",
    [
        "DD.MM.YYYY hh:mm",
        "%Q",
        "%d.%m.%Y %",
        "%H:%M",  # no date
        "%d.%m.%Y",  # no time of day
        "%d.%m. %H:%M",  # no year
        "%d.%m.%Y %I:%M",  # morning or afternoon?
        "%Y %Y-%m-%d %H",
    ],
)
def test_a_format_that_leaves_the_hour_open_is_told(problems: Problems, time_format: str) -> None:
    found = problems(field=field(f'streams = ["*.csv"]\ntime_format = "{time_format}"'))
    assert len(found) == 1
    assert found[0].startswith(f'field.toml, time_format: found "{time_format}", expected directives of strftime')
