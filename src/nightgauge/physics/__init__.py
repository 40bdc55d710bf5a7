"""Vessels, liquids, gas, valves, settling, wells, heat, anodes. Pure, over floats or arrays; SI; NaN passes."""
