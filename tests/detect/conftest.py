"""A vessel's past made by hand: hour by hour for signals, dump by dump for cycles. Times in hours since the start."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from nightgauge.detect import History
from nightgauge.field.settings import BackPressureValve, Field, Outage, Vessel, WaterDump
from nightgauge.vocabulary.frames import DUMP_CYCLES, SIGNAL_HOURS, VESSEL_DAYS, VESSEL_HOURS, WELL_TESTS
from nightgauge.vocabulary.signals import SIGNALS

START = datetime(2026, 4, 6, tzinfo=UTC)
INCH, PSI = 0.0254, 6.894757

SNAP = Vessel(
    "V1",
    "free-water knockout",
    normal_oil_level_m=1.6,
    normal_interface_m=1.1,
    max_working_pressure_kpag=860.0,
    water_dump=(WaterDump(action="snap", opens_at_m=1.15, closes_at_m=1.05, cv=90.0),),
    oil_valve=(BackPressureValve(holds_kpag=310.0),),
    gas_valve=(BackPressureValve(holds_kpag=338.0),),
)
THROTTLING = replace(SNAP, water_dump=(WaterDump(action="throttling", holds_m=1.1, band_m=0.1),))


@dataclass
class Past:
    """What is known of one vessel over some days; detectors see it through `history`."""

    days: int = 28
    vessel: Vessel = SNAP
    outages: tuple[Outage, ...] = ()
    limits: dict[str, dict[str, float]] = field(default_factory=dict)
    signals: dict[str, dict[str, Any]] = field(default_factory=dict)
    hour_columns: dict[str, Any] = field(default_factory=dict)
    day_columns: dict[str, Any] = field(default_factory=dict)
    cycles: dict[str, Any] = field(default_factory=dict)
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(7))

    @property
    def n(self) -> int:
        """Return the number of hours."""
        return 24 * self.days

    @property
    def t(self) -> np.ndarray:
        """Return the hours since the start."""
        return np.arange(self.n, dtype=float)

    def noise(self, deviation: float) -> np.ndarray:
        """Return hourly noise."""
        return self.rng.normal(0.0, deviation, self.n)

    def signal(self, name: str, mean: Any, swing: Any = 0.0, **more: Any) -> "Past":
        """Add a signal: hourly mean, half its range within the hour, other columns of SIGNAL_HOURS."""
        mean = np.broadcast_to(np.asarray(mean, dtype=float), self.n)
        swing = np.broadcast_to(np.asarray(swing, dtype=float), self.n)
        columns = {
            "mean": mean, "minimum": mean - swing, "maximum": mean + swing, "p10": mean - 0.8 * swing,
            "p90": mean + 0.8 * swing, "first": mean, "last": mean, "deviation": swing / 2.0, "coverage": 1.0,
            "samples": 60, "bad_samples": 0, "changes": 30, "still_s": 60.0, "net_change": 0.0,
        }  # fmt: skip
        self.signals[name] = columns | more
        return self

    def hours(self, **columns: Any) -> "Past":
        """Set columns of VESSEL_HOURS."""
        self.hour_columns |= columns
        return self

    def day(self, **columns: Any) -> "Past":
        """Set columns of VESSEL_DAYS, where they are not the hours' means."""
        self.day_columns |= columns
        return self

    def dumps(
        self, opened_h: Any, drain_s: Any = 180.0, opening: Any = 1.15, closing: Any = 1.05, **more: Any
    ) -> "Past":
        """Set the dumps: hour of opening since the start, drain, levels; the last may have NaN for a drain."""
        opened = np.asarray(opened_h, dtype=float)
        drain = np.broadcast_to(np.asarray(drain_s, dtype=float), opened.shape)
        before = np.concatenate(([np.nan], opened[:-1] * 3600.0 + drain[:-1]))
        columns = {
            "opened": opened, "drain_s": drain, "opening_level_m": opening, "closing_level_m": closing,
            "fill_s": opened * 3600.0 - before, "evidence": "switch",
        }  # fmt: skip
        self.cycles = columns | more
        return self

    def every(self, period_h: float, until_h: float | None = None) -> np.ndarray:
        """Return even openings."""
        return np.arange(0.5 * period_h, self.n if until_h is None else until_h, period_h)

    def history(self, until_h: float | None = None) -> History:
        """Return the past as a night that ends at `until_h` hours would be given it: with all rows there are."""
        field_ = Field(Path("field.toml"), "Field", "UTC", (), (), (self.vessel,), outages=self.outages,
                       limits=self.limits)  # fmt: skip
        until = START + timedelta(hours=self.n if until_h is None else until_h)
        return History(self.vessel, field_, self._cycles(), self._hours(), self._days(), self._signal_hours(),
                       WELL_TESTS.empty(), until)  # fmt: skip

    def _stamps(self) -> list[datetime]:
        return [START + timedelta(hours=int(h)) for h in range(self.n)]

    def _spread(self, columns: dict[str, Any], n: int) -> dict[str, Any]:
        return {
            name: values if isinstance(values, list) else np.broadcast_to(np.asarray(values), n).tolist()
            for name, values in columns.items()
        }

    def _hours(self) -> pl.DataFrame:
        columns = self._spread({"coverage": 1.0} | self.hour_columns, self.n)
        return VESSEL_HOURS.build(_frame({"vessel": ["V1"] * self.n, "hour_utc": self._stamps()} | columns))

    def _days(self) -> pl.DataFrame:
        per_day = {
            name: [_mean(day) for day in np.asarray(values, dtype=float).reshape(-1, 24)]
            for name, values in self._spread({"coverage": 1.0} | self.hour_columns, self.n).items()
            if name != "well_on_test"
        }
        per_day |= self._spread(self.day_columns, self.days)
        stamps: list[date] = [(START + timedelta(days=d)).date() for d in range(self.days)]
        return VESSEL_DAYS.build(_frame({"vessel": ["V1"] * self.days, "day": stamps} | per_day))

    def _signal_hours(self) -> pl.DataFrame:
        parts = [SIGNAL_HOURS.empty()]
        for name, columns in self.signals.items():
            spread = self._spread(columns, self.n)
            frame = {"vessel": ["V1"] * self.n, "signal": [name] * self.n, "hour_utc": self._stamps()}
            parts.append(SIGNAL_HOURS.build(_frame(frame | spread)))
        return SIGNAL_HOURS.build(pl.concat(parts))

    def _cycles(self) -> pl.DataFrame:
        if not self.cycles:
            return DUMP_CYCLES.empty()
        opened = np.asarray(self.cycles["opened"])
        columns = self._spread({k: v for k, v in self.cycles.items() if k != "opened"}, len(opened))
        at = [START + timedelta(hours=float(h)) for h in opened]
        shut = [None if np.isnan(d) else a + timedelta(seconds=d) for a, d in zip(at, columns["drain_s"], strict=True)]
        return DUMP_CYCLES.build(_frame({"vessel": ["V1"] * len(at), "opened_utc": at, "shut_utc": shut} | columns))


def _mean(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _frame(columns: dict[str, Any]) -> pl.DataFrame:
    frame = pl.DataFrame(columns, strict=False)
    numbers = [n for n, t in frame.schema.items() if t.is_float()]
    return frame.with_columns(pl.col(numbers).fill_nan(None))


@pytest.fixture
def past() -> Callable[..., Past]:
    """Return the maker of pasts."""
    return Past


@pytest.fixture
def sound_snap() -> Callable[..., Past]:
    """Return a maker of a sound snap vessel: level, switch and pressure, a dump every 40 minutes."""

    def make(days: int = 28, without: Sequence[str] = (), last_dump_h: float | None = None, **more: Any) -> Past:
        made = Past(days=days, **more)
        opened = made.every(2.0 / 3.0, last_dump_h)
        made.dumps(opened, opening=1.15 + made.rng.normal(0, 0.003, len(opened)),
                   closing=1.05 + made.rng.normal(0, 0.003, len(opened)), inflow_m3_per_day=500.0)  # fmt: skip
        made.hours(dumps=1.5, open_s=270.0, water_load_m3_per_day=500.0, oil_hold_kpag=314.0 + made.noise(1.0))
        made.signal("interface_level", 1.10 + made.noise(0.003), 0.05)
        made.signal("vessel_pressure", 314.0 + made.noise(1.0), 4.0)
        made.signal("water_dump_open", 0.075)
        for name in without:
            made.signals.pop(name)
        return made

    return make


@pytest.fixture
def sound_throttling() -> Callable[..., Past]:
    """Return a maker of a sound throttling vessel: level, travel, meter and pressure."""

    def make(days: int = 28, without: Sequence[str] = (), **more: Any) -> Past:
        made = Past(days=days, vessel=THROTTLING, **more)
        made.hours(water_load_m3_per_day=500.0 + made.noise(10.0))
        made.signal("interface_level", 1.10 + made.noise(0.003), 0.01)
        made.signal("water_dump_position", 0.4 + made.noise(0.01), 0.02)
        made.signal("water_rate", 500.0 + made.noise(10.0), 20.0)
        made.signal("vessel_pressure", 314.0 + made.noise(1.0), 2.0)
        for name in without:
            made.signals.pop(name)
        return made

    return make


@pytest.fixture
def signals() -> frozenset[str]:
    """Return every signal's name."""
    return frozenset(SIGNALS)
