"""Findings against known faults."""

from nightgauge.score.matching import score
from nightgauge.score.result import Outcome, Score
from nightgauge.score.seen import Seen, seen_of
from nightgauge.score.truth import read_truth

__all__ = ["Outcome", "Score", "Seen", "read_truth", "score", "seen_of"]
