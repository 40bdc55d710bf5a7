"""From samples to dump cycles, held pressures, loads, retention, carryover, hours and days."""

from nightgauge.derive.vessel import CONTEXT, derive_vessel
from nightgauge.vocabulary.derived import Derived

__all__ = ["CONTEXT", "Derived", "derive_vessel"]
