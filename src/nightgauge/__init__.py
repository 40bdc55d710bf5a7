"""Nightgauge: which separation vessels of an oil field need a visit, why, and since when."""
