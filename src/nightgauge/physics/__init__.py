"""Vessels, liquids, gas, valves, settling, wells, heat, anodes. Pure over floats or arrays; SI in and out; NaN passes."""
