"""A plant with faults, written as a field folder with truth.

The plant is physics (mass balances, a float with friction, valves by their Cv, springs with droop, gas that
is squeezed); it shares geometry with the detectors and nothing else.
"""

from nightgauge.simulate.fleet import Mixture, random_fleet
from nightgauge.simulate.make import simulate_field
from nightgauge.simulate.plan import Plan
from nightgauge.simulate.quillet import quillet_bench

__all__ = ["Mixture", "Plan", "quillet_bench", "random_fleet", "simulate_field"]
