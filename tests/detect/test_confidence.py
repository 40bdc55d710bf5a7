"""The map from rule to probability: grows, stays off certainty, and does nothing when the file says so."""

import json
from datetime import UTC, datetime
from importlib.resources import files
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nightgauge.detect.confidence import (
    BY_RULE,
    FILE,
    LEAST_SURE,
    Calibration,
    calibrated,
    read_calibration,
    shipped,
)
from nightgauge.detect.wording import MOST_SURE
from nightgauge.errors import ProgrammerError
from nightgauge.vocabulary.findings import Candidate
from nightgauge.vocabulary.kinds import KINDS

SHARES = st.floats(0.0, 1.0)


@st.composite
def calibrations(draw):
    count = draw(st.integers(2, 6))
    ends = st.lists(SHARES, min_size=count, max_size=count, unique=True).map(sorted)
    rights = st.lists(SHARES, min_size=count, max_size=count).map(sorted)
    given_, right = draw(ends), draw(rights)
    assume(all(b - a > 1e-6 for a, b in pairwise(given_)))
    return Calibration(tuple(zip(given_, right, strict=True)), {"dump_leaking": draw(st.floats(-3.0, 3.0))})


@given(calibrations(), SHARES, SHARES, st.sampled_from(["dump_leaking", "float_sticking"]))
def test_a_surer_rule_never_gives_a_smaller_probability(calibration, one, other, kind):
    low, high = sorted((one, other))
    assert calibration.of(kind, low) <= calibration.of(kind, high)


@given(calibrations(), SHARES, st.sampled_from(["dump_leaking", "float_sticking"]))
def test_nothing_is_certain_either_way(calibration, confidence, kind):
    assert LEAST_SURE <= calibration.of(kind, confidence) <= MOST_SURE


@given(st.floats(LEAST_SURE, MOST_SURE).map(lambda c: round(c, 3)), st.sampled_from(sorted(KINDS)))
def test_by_rule_leaves_confidences_as_they_are(confidence, kind):
    assert BY_RULE.of(kind, confidence) == confidence


def test_a_shift_multiplies_the_odds():
    # Odds of 0.6 are 1.5; twice that is 3, and 3 / (1 + 3) is 0.75.
    calibration = Calibration(shifts={"dump_leaking": 0.6931471805599453})
    assert calibration.of("dump_leaking", 0.6) == 0.75
    assert calibration.of("float_sticking", 0.6) == 0.6


def test_beyond_the_knots_the_map_is_level():
    calibration = Calibration(((0.5, 0.4), (0.9, 0.8)))
    assert [calibration.of("dump_leaking", c) for c in (0.1, 0.5, 0.7, 0.95)] == [0.4, 0.4, 0.6, 0.8]


@pytest.mark.parametrize("knots", [((0.5, 0.5), (0.4, 0.6)), ((0.4, 0.6), (0.5, 0.5)), ((0.5, 0.5),)])
def test_knots_that_do_not_rise_are_refused(knots):
    with pytest.raises(ProgrammerError, match="do not rise"):
        Calibration(knots)


def test_only_the_confidence_of_a_candidate_changes():
    when = datetime(2026, 5, 1, tzinfo=UTC)
    candidate = Candidate("A", "water_dump", "dump_leaking", "medium", 0.7, when, when, None, "leaks")
    (told,) = calibrated([candidate], Calibration(((0.0, 0.0), (1.0, 0.5))))
    assert told.confidence == 0.35
    assert (told.kind, told.priority, told.onset, told.summary) == ("dump_leaking", "medium", when, "leaks")


def test_the_shipped_file_says_how_it_was_made_and_names_kinds_that_exist():
    made = json.loads(files("nightgauge.detect").joinpath(FILE).read_text())
    assert made["about"]
    assert set(made["shifts"]) <= set(KINDS)
    assert read_calibration(made) == shipped()
