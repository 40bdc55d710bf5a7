"""Findings against known faults."""

from nightgauge.score.matching import score
from nightgauge.score.promptness import FIRST_WEEKS
from nightgauge.score.reliability import Claim, bins, brier, reliability_table
from nightgauge.score.result import Outcome, Score, together
from nightgauge.score.seen import Seen, seen_of
from nightgauge.score.truth import read_truth

__all__ = [
    "FIRST_WEEKS", "Claim", "Outcome", "Score", "Seen", "bins", "brier", "read_truth", "reliability_table", "score",
    "seen_of", "together",
]  # fmt: skip
