"""From a rule's confidence to a probability: of findings given 0.8, about 80 % should be right.

The detectors give each finding a confidence by rule. A calibration, learned on simulated fleets and shipped as
`confidence.json` beside this module, maps it to the share of such findings that were right; that file says how it was
made. It never changes which kinds are told, nor their order among findings of one kind: it only grows with the rule's.
"""

import json
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from math import exp
from typing import Any

from nightgauge.detect.wording import MOST_SURE
from nightgauge.errors import ProgrammerError
from nightgauge.vocabulary.findings import Candidate

LEAST_SURE = 0.05
"""Lowest confidence given: what is told at all is not excluded. House choice, as in `wording`."""
FILE = "confidence.json"


@dataclass(frozen=True)
class Calibration:
    """A map of confidences, growing, with a shift for each kind.

    Attributes
    ----------
    knots : tuple of (float, float)
        Confidence by rule and share that was right, both rising; a line between, level beyond the ends.
    shifts : mapping
        Kind to what is added to the logarithm of the odds; kinds without one are shifted by nothing.

    """

    knots: tuple[tuple[float, float], ...] = ((0.0, 0.0), (1.0, 1.0))
    shifts: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse a map that does not grow."""
        given, right = [k[0] for k in self.knots], [k[1] for k in self.knots]
        if len(given) < 2 or given != sorted(set(given)) or right != sorted(right):
            raise ProgrammerError(f"{FILE}: knots {list(self.knots)} do not rise")

    def of(self, kind: str, confidence: float) -> float:
        """Return the probability that a finding of this kind and confidence by rule is right.

        Examples
        --------
        >>> Calibration().of("dump_leaking", 0.8)
        0.8
        >>> Calibration(((0.5, 0.3), (1.0, 0.9)), {"dump_leaking": 0.5}).of("dump_leaking", 0.75)
        0.712

        """
        share = self._pooled(confidence)
        more = exp(self.shifts.get(kind, 0.0))
        share = share * more / (share * more + 1.0 - share)
        return round(min(max(share, LEAST_SURE), MOST_SURE), 3)

    def _pooled(self, confidence: float) -> float:
        place = bisect_right(self.knots, confidence, key=lambda knot: knot[0])
        if place == 0:
            return self.knots[0][1]
        if place == len(self.knots):
            return self.knots[-1][1]
        (left, low), (right, high) = self.knots[place - 1], self.knots[place]
        return low + (high - low) * (confidence - left) / (right - left)


BY_RULE = Calibration()
"""Leaves confidences as the rules give them; what a calibration is fitted on."""


def read_calibration(made: Mapping[str, Any]) -> Calibration:
    """Return the calibration that a file's content holds."""
    return Calibration(tuple((given, right) for given, right in made["knots"]), made["shifts"])


@cache
def shipped() -> Calibration:
    """Return the calibration that comes with the package."""
    text = files("nightgauge.detect").joinpath(FILE).read_text(encoding="utf-8")
    return read_calibration(json.loads(text))


def calibrated(candidates: Iterable[Candidate], calibration: Calibration) -> tuple[Candidate, ...]:
    """Return the candidates with their confidences as probabilities."""
    return tuple(replace(c, confidence=calibration.of(c.kind, c.confidence)) for c in candidates)
