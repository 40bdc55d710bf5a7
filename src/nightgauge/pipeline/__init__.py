"""The way through: plain functions that join the rooms in order. No scheduler, no printing.

A night is a row of transactions, each complete or absent: one per export, one per group of derived
vessels, one for the ledger together with the end of the night. What a killed night left undone the next
one does, because every step asks the store what is still owed.
"""
