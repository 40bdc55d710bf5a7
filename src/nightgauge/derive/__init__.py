"""From samples to dump cycles, held pressures, loads, retention, carryover, hours and days."""

from nightgauge.derive.vessel import CONTEXT, DayRows, Stretch, derive_days, derive_vessel, gathered
from nightgauge.vocabulary.derived import Derived

__all__ = ["CONTEXT", "DayRows", "Derived", "Stretch", "derive_days", "derive_vessel", "gathered"]
