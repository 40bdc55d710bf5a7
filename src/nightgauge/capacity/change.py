"""What can be asked of a vessel: other loads, levels or pressure, and wells that come to it."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Added:
    """One well more: what it brings, by its test or as stated. [m3/day]"""

    name: str
    water_m3_per_day: float | None = None
    oil_m3_per_day: float | None = None
    gas_m3_per_day: float | None = None
    tested_utc: datetime | None = None
    """Start of the test that tells it; None where it was stated."""

    def brings(self, phase: str) -> float | None:
        """Return its rate of water, oil or gas; None where it is not known. [m3/day]"""
        rates = {"water": self.water_m3_per_day, "oil": self.oil_m3_per_day, "gas": self.gas_m3_per_day}
        return rates[phase]


@dataclass(frozen=True)
class Change:
    """What is asked: other levels, pressure or loads; None leaves as it is."""

    water_rate_m3_per_day: float | None = None
    oil_rate_m3_per_day: float | None = None
    interface_m: float | None = None
    pressure_kpag: float | None = None
    added: tuple[Added, ...] = ()
