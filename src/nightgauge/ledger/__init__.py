"""The life of a finding from night to night: one id, one state, one story.

Pure functions on frames. A night's judgements come in, the whole finding table and the night's events go
out; nothing is read or written here.
"""

from nightgauge.ledger.life import update
from nightgauge.ledger.marks import mark

__all__ = ["mark", "update"]
