"""What a detector hands on can always be kept."""

import math

import pytest

from nightgauge.vocabulary.findings import Evidence


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_evidence_that_is_no_number_is_unknown(number: float) -> None:
    evidence = Evidence("flow against usual", number, "1", expected=number)
    assert (evidence.value, evidence.expected) == (None, None)


def test_evidence_keeps_numbers_and_words() -> None:
    assert Evidence("gap", 0.1, "m", expected="as set").expected == "as set"
    assert Evidence("gap", 0.1, "m", expected=0.2).value == 0.1
