"""The pages' words: grammar of lists and counts, how sure, since when."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from nightgauge.report.words import how_sure, kind_words, sentence, since, week_text
from nightgauge.vocabulary.kinds import KINDS

DENVER = ZoneInfo("America/Denver")
UNTIL = datetime(2026, 5, 25, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("confidence", "word"), [(1.0, "sure"), (0.9, "sure"), (0.899, "likely"), (0.7, "likely"), (0.69, "possible")]
)
def test_confidence_reads_as_a_word(confidence: float, word: str) -> None:
    assert how_sure(confidence) == word


def test_a_recent_start_reads_as_weekday_and_hour_of_the_field() -> None:
    # 10:10 UTC is 04:10 in Denver in summer (UTC-6).
    assert since(datetime(2026, 5, 22, 10, 10, tzinfo=UTC), UNTIL, DENVER) == "Fri 04:10"


def test_an_older_start_reads_as_a_date_and_a_very_old_one_with_its_year() -> None:
    assert since(UNTIL - timedelta(days=16), UNTIL, DENVER) == "9 May"
    assert since(UNTIL - timedelta(days=400), UNTIL, DENVER) == "20 Apr 2025"


def test_a_week_over_new_year_names_both_years() -> None:
    assert week_text(date(2026, 12, 28), date(2027, 1, 3)) == "28 December 2026 – 3 January 2027"


def test_a_sentence_starts_with_a_capital_and_ends_once() -> None:
    assert sentence("it sinks") == "It sinks."
    assert sentence("It sinks.") == "It sinks."
    assert sentence(" ") == ""


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_has_words_without_underscores(kind: str) -> None:
    words = kind_words(kind, "vessel")
    assert "_" not in words
    assert words != kind.replace("_", " "), "the pages have no phrase for this kind"


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_no_words_call_a_vessel_well(kind: str) -> None:
    assert not {"ok", "healthy", "safe", "normal"} & set(kind_words(kind, "vessel").lower().split())
