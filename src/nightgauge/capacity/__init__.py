"""What a vessel can take against what it sees: limits, what-if, and what would give more."""

from nightgauge.capacity.change import Added, Change
from nightgauge.capacity.outlook import Outlook, capacities, what_if
from nightgauge.capacity.remedies import what_would_give_more
from nightgauge.capacity.work import LEVELS_AND_PRESSURES

__all__ = ["LEVELS_AND_PRESSURES", "Added", "Change", "Outlook", "capacities", "what_if", "what_would_give_more"]
