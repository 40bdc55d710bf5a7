"""What a changed unit, scale, zero or span makes of numbers that are stored already.

The raw value is recovered by inverting the old conversion. Of what that gives, the shortest decimal is
taken that makes the very number that is stored: it is what the historian wrote, and so a value converted
here equals to the bit the one a fresh reading would make.
"""

from dataclasses import dataclass
from datetime import datetime

from nightgauge.units import Conversion

_DIGITS = (5, 7, 9, 11, 13)
"""Digits of a raw value, tried in turn: a transmitter shows up to five, and thirteen are safe from rounding errors."""


@dataclass(frozen=True)
class Remake:
    """One tag's samples of a stretch that become another's, or its own in another unit."""

    tag_id: int
    heir_id: int
    old: Conversion
    """Raw value to the value that is stored."""
    new: Conversion
    from_utc: datetime | None
    to_utc: datetime | None

    @property
    def parameters(self) -> dict[str, object]:
        """Return the conversions as parameters of `REMADE`."""
        return {
            "old_factor": self.old.factor,
            "old_constant": self.old.constant,
            "factor": self.new.factor,
            "constant": self.new.constant,
        }


def _rounded(digits: int) -> str:
    """Return the SQL for a raw value rounded to so many digits."""
    return (
        f"CASE WHEN inverted = 0 THEN 0 ELSE round(inverted, {digits - 1} - floor(log10(abs(inverted)))::INTEGER) END"
    )


INVERTED = "(value - $old_constant) / $old_factor AS inverted"
"""SQL for the raw value that a stored `value` comes from, up to rounding; `REMADE` uses its name."""

_SHORTEST = ", ".join(
    f"CASE WHEN {_rounded(n)} * $old_factor + $old_constant = value THEN {_rounded(n)} END" for n in _DIGITS
)
REMADE = f"coalesce({_SHORTEST}, inverted) * $factor + $constant"
"""SQL for the value in the new conversion, from `value` and `inverted`."""
