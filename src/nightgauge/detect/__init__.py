"""From a vessel's history to findings: one module per element, then arbitration.

Each detector is a pure function of a `History` and returns the episodes of its kinds that it sees in the
whole of it, those that are over included. Nothing at or after `until` is ever read.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from nightgauge.detect import (
    anodes,
    carryover,
    dump_trips,
    dump_valve,
    float_stuck,
    held_pressure,
    hunting,
    instruments,
    interface,
    margin,
    pressure_level,
    size,
    throttling,
    throttling_flow,
    unusual,
    wells,
)  # fmt: skip
from nightgauge.detect.arbitration import arbitrate
from nightgauge.detect.confidence import Calibration, calibrated, shipped
from nightgauge.detect.history import READ, History
from nightgauge.detect.judged import judged_kinds
from nightgauge.vocabulary.findings import Candidate

__all__ = ["DETECTORS", "READ", "History", "Judgement", "find"]

Detector = Callable[[History], list[Candidate]]

DETECTORS: tuple[Detector, ...] = (
    float_stuck.find,
    throttling.find,
    throttling_flow.find,
    dump_trips.find,
    dump_valve.find,
    hunting.find,
    interface.find,
    held_pressure.find,
    margin.find,
    pressure_level.find,
    size.find,
    carryover.find,
    anodes.find,
    wells.find,
    instruments.find,
    unusual.find,
)
"""Every detector, in the order in which they run; the order decides nothing."""


@dataclass(frozen=True)
class Judgement:
    """What one night says of one vessel."""

    candidates: tuple[Candidate, ...] = ()
    judged: frozenset[str] = frozenset()
    """Kinds that could be judged in the last night."""
    unjudged: dict[str, str] = field(default_factory=dict)
    """Kind to why it could not be."""


def find(history: History, calibration: Calibration | None = None) -> Judgement:
    """Return the findings of a vessel as the night that ends at `history.until` sees them.

    Parameters
    ----------
    history : History
        One vessel's frames; rows at or after `until` are ignored.
    calibration : Calibration, optional
        How confidences by rule become probabilities; the shipped one without it.

    """
    candidates = [candidate for detector in DETECTORS for candidate in detector(history)]
    judged, unjudged = judged_kinds(history)
    told = calibrated(arbitrate(candidates), calibration or shipped())
    return Judgement(told, judged, unjudged)
