"""What a vessel costs day by day: back pressure that its oil valve holds, and carryover of either liquid."""

from nightgauge.losses.back_pressure import back_pressure
from nightgauge.losses.carryover import carryover
from nightgauge.losses.flows import WaterCuts

__all__ = ["WaterCuts", "back_pressure", "carryover"]
