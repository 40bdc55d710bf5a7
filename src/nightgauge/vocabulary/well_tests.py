"""What a well's record of tests is, for judging it and for showing it."""

RECORD = 12
"""Accepted tests that are a well's record, the last ones before. House choice: a year of monthly tests; older ones are
of a younger well."""
REPEATS = 0.03
"""Share of a rate within which no test repeats, whatever a few before it say. Common practice, no source: liquid
meters and dumped volumes in the field hold 1 to 2 %, and so do the wells."""
