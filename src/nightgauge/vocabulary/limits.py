"""The declaration of a threshold: every one has a name, a unit, a default, a reason and a source."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """One threshold of a finding kind, as `nightgauge explain` prints it and `[limits.<kind>]` sets it."""

    name: str
    dimension: str
    """A name in `units.DIMENSIONS`, or "number" for a pure number."""
    default: float
    """In the unit used inside."""
    reason: str
    source: str
    """Standard and clause, publication, or "house choice" / "common practice, no source"."""
