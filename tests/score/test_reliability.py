"""The reliability curve, against counts made by hand and scikit-learn's own curve and score."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss

from nightgauge.score import Claim, bins, brier, reliability_table


def claims_of(pairs):
    return [Claim(f"f{n}", "dump_leaking", confidence, is_right) for n, (confidence, is_right) in enumerate(pairs)]


def test_an_edge_belongs_to_the_bin_above_and_certainty_to_the_last():
    found = bins(claims_of([(0.8, True), (0.79, False), (0.9, True), (1.0, True)]))
    assert [(b.low, b.count, b.right_share) for b in found] == [(0.7, 1, 0.0), (0.8, 1, 1.0), (0.9, 2, 1.0)]


PAIRS = st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), min_size=1, max_size=60)


@given(PAIRS)
def test_every_claim_lies_in_one_bin(pairs):
    found = bins(claims_of(pairs))
    assert sum(b.count for b in found) == len(pairs)
    assert sum(b.count * b.right_share for b in found) == pytest.approx(sum(right for _, right in pairs))


def test_the_curve_is_that_of_scikit_learn():
    rng = np.random.default_rng(2)
    confidence = rng.uniform(0.02, 0.98, 400)
    right = rng.random(400) < confidence
    edges = np.linspace(0.0, 1.0, 6)
    found = bins(claims_of(zip(confidence.tolist(), right.tolist(), strict=True)), edges.tolist())
    shares, means = calibration_curve(right, confidence, n_bins=5)
    assert [b.right_share for b in found] == pytest.approx(shares.tolist())
    assert [b.mean_confidence for b in found] == pytest.approx(means.tolist())


@given(PAIRS)
def test_the_brier_score_is_that_of_scikit_learn(pairs):
    right = [r for _, r in pairs]
    assert brier(claims_of(pairs)) == pytest.approx(brier_score_loss(right, [c for c, _ in pairs], pos_label=True))


def test_the_table_has_a_line_per_bin_and_the_score():
    lines = reliability_table(claims_of([(0.85, True), (0.85, False), (0.95, True)]), "on the last night").splitlines()
    assert lines[0] == "confidence on the last night"
    assert lines[2].split() == ["0.8", "to", "0.9", "2", "0.85", "50", "%"]
    assert lines[3].split() == ["0.9", "to", "1.0", "1", "0.95", "100", "%"]
    # (0.15^2 + 0.85^2 + 0.05^2) / 3
    assert lines[-1] == "Brier score 0.249 over 3 findings"


def test_without_claims_there_is_no_score():
    assert brier([]) is None
