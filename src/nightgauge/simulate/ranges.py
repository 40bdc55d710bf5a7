"""How far vessels of a fleet differ from each other: what nobody writes down, drawn anew for each vessel.

There are two worlds, so that what was learned in one can be tried in another. All numbers are house choices round
what is common practice; no source.
"""

from dataclasses import dataclass

import numpy as np

Rng = np.random.Generator
Span = tuple[float, float]


@dataclass(frozen=True)
class Ranges:
    """Lowest and highest value of each property."""

    droop_psi: Span = (0.6, 2.0)
    """Rise of the held pressure from shut to full open, oil valve and gas valve each."""
    trip_scatter: Span = (0.01, 0.05)
    """Scatter of a snap float's marks, as a share of its gap."""
    slack: Span = (0.005, 0.04)
    """Lost motion of a throttling linkage, as a share of the travel."""
    stroke_s: Span = (3.0, 15.0)
    slug_height: Span = (0.0, 0.45)
    slug_period_s: Span = (600.0, 5400.0)
    """Drawn evenly in its logarithm, as are noise and dead band."""
    slug_irregularity: Span = (0.05, 0.5)
    wander: Span = (0.02, 0.08)
    noise: Span = (0.5, 2.5)
    """Times the usual noise of such an instrument."""
    dead_band: Span = (0.6, 4.0)
    """Times the usual dead band of such an instrument."""
    scans_s: tuple[float, ...] = (5.0, 10.0, 15.0, 30.0, 60.0)
    scan_shares: tuple[float, ...] = (0.2, 0.3, 0.15, 0.2, 0.15)


USUAL = Ranges()
OTHER = Ranges(
    droop_psi=(0.3, 3.0),
    trip_scatter=(0.02, 0.09),
    slack=(0.01, 0.06),
    stroke_s=(2.0, 30.0),
    slug_height=(0.1, 0.6),
    slug_period_s=(300.0, 9000.0),
    slug_irregularity=(0.2, 0.8),
    wander=(0.03, 0.12),
    noise=(0.8, 4.0),
    dead_band=(0.3, 6.0),
    scan_shares=(0.1, 0.15, 0.15, 0.3, 0.3),
)
"""Rougher: looser floats and linkages, larger slugs both faster and slower, worse instruments, slower scans."""

RANGES: dict[str, Ranges] = {"usual": USUAL, "other": OTHER}


def evenly(span: Span, rng: Rng) -> float:
    """Draw evenly between the ends."""
    return float(rng.uniform(*span))


def in_ratio(span: Span, rng: Rng) -> float:
    """Draw evenly in the logarithm."""
    return float(np.exp(rng.uniform(np.log(span[0]), np.log(span[1]))))
