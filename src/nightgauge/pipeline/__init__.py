"""The way through: plain functions that join the rooms in order. No scheduler, no printing.

A night is a row of transactions, each complete or absent: one per export, one per group of derived
vessels, one for the ledger together with the end of the night. What a killed night left undone the next
one does, because every step asks the store what is still owed.
"""

from nightgauge.pipeline.hearing import Heard, heard
from nightgauge.pipeline.nights import NightReport, last_night, nights_between, nights_due, run_night
from nightgauge.pipeline.pages import week_view, write_page, write_weekly
from nightgauge.pipeline.reading import FileOutcome, ReadReport, read_exports
from nightgauge.pipeline.telling import Tell

__all__ = [
    "FileOutcome",
    "Heard",
    "NightReport",
    "ReadReport",
    "Tell",
    "heard",
    "last_night",
    "nights_between",
    "nights_due",
    "read_exports",
    "run_night",
    "week_view",
    "write_page",
    "write_weekly",
]
