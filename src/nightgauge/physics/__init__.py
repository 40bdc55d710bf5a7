"""Geometry, retention, liquids, gas and valves. Pure functions over floats or arrays; SI in and out; NaN passes."""
