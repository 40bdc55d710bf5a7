"""What a sample is worth, worst last. Missing is no flag: a missing sample is no row."""

import polars as pl

GOOD = "good"
UNCERTAIN = "uncertain"
BAD = "bad"

FLAG = pl.Enum([GOOD, UNCERTAIN, BAD])
"""Column type of a flag. Uncertain values are used and counted; bad ones are kept but used nowhere."""
