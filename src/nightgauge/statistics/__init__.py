"""Robust numbers, steps, trends, cumulative sums, swings. Pure functions over numpy arrays."""
