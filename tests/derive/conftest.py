"""Builders: samples from short lists, a field around a vessel, and a tiny plant whose dumps are known exactly."""

import importlib.util
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import polars as pl
import pytest

from nightgauge.derive import derive_vessel
from nightgauge.derive.known import Track
from nightgauge.derive.readings import readings_of, seen
from nightgauge.field.settings import Field, Vessel, WaterDump
from nightgauge.physics.geometry import shell
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import VESSEL_DAYS, VESSEL_SAMPLES
from nightgauge.vocabulary.signals import signal_of

START = datetime(2026, 3, 2, tzinfo=UTC)
START_US = int(START.timestamp()) * 1_000_000


@pytest.fixture(scope="session")
def naive() -> ModuleType:
    """The slow twins beside the tests."""
    spec = importlib.util.spec_from_file_location("derive_naive", Path(__file__).with_name("naive.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def one_signal(
    signal: str,
    values: Sequence[object],
    times_s: Sequence[float] | None = None,
    period_s: float = 10.0,
    flags: Sequence[str] | None = None,
    max_gap_s: float | None = None,
    start: datetime = START,
) -> pl.DataFrame:
    """Samples of one signal, evenly spaced unless times are given."""
    when = np.arange(len(values)) * period_s if times_s is None else np.asarray(times_s, dtype=np.float64)
    is_text = signal_of(signal).kind == "text"
    micros = np.rint(when * 1e6).astype(np.int64)
    return VESSEL_SAMPLES.build(
        pl.DataFrame(
            {
                "signal": pl.Series([signal] * len(values), dtype=pl.String),
                "time_utc": (pl.Series(micros, dtype=pl.Int64) + int(start.timestamp() * 1e6)).cast(
                    pl.Datetime("us", "UTC")
                ),
                "value": pl.Series([None] * len(values) if is_text else values, dtype=pl.Float64, strict=False),
                "text_value": pl.Series(values if is_text else [None] * len(values), dtype=pl.String),
                "flag": pl.Series(flags or ["good"] * len(values), dtype=pl.String),
                "max_gap_s": pl.Series([max_gap_s or signal_of(signal).max_gap_s] * len(values), dtype=pl.Float64),
            }
        )
    )


@pytest.fixture
def make_samples() -> Callable[..., pl.DataFrame]:
    """Build VESSEL_SAMPLES from keyword lists: make_samples(interface_level=[1.0, 1.1], period_s=10)."""

    def build(period_s: float = 10.0, start: datetime = START, **signals: Sequence[object]) -> pl.DataFrame:
        parts = [one_signal(name, values, period_s=period_s, start=start) for name, values in signals.items()]
        return VESSEL_SAMPLES.build(pl.concat([VESSEL_SAMPLES.empty(), *parts]))

    return build


@pytest.fixture
def make_track() -> Callable[..., Track]:
    """Build one signal's track: make_track("interface_level", [1.0, 1.1], times_s=[0, 60], until_s=120)."""

    def build(signal: str, values: Sequence[object], until_s: float | None = None, **how: object) -> Track:
        samples = one_signal(signal, values, **how)
        last = samples["time_utc"].to_physical().max() if samples.height else START_US
        end = last + 1 if until_s is None else START_US + int(until_s * 1e6)
        return seen(readings_of(samples), (), START_US - 10**12, end).tracks[signal]

    return build


@pytest.fixture
def signal_samples() -> Callable[..., pl.DataFrame]:
    """Build VESSEL_SAMPLES of one signal with its own times and flags."""
    return one_signal


KNOCKOUT = Vessel(
    id="T-1",
    service="free-water knockout",
    orientation="horizontal",
    inside_diameter_m=2.4,
    length_m=6.0,
    heads="2:1 ellipsoidal",
    normal_interface_m=1.1,
    normal_oil_level_m=1.7,
    oil_gravity_degapi=27.0,
    water_specific_gravity=1.05,
    gas_specific_gravity=0.75,
    mist_extractor=False,
    temperature_c=40.0,
    water_dump=(WaterDump(action="snap", opens_at_m=1.15, closes_at_m=1.05, cv=90.0, downstream_pressure_kpag=100.0),),
)


@pytest.fixture
def knockout() -> Vessel:
    """A horizontal knockout with a snap dump of 0.10 m gap."""
    return KNOCKOUT


def field_of(vessel: Vessel, **changes: object) -> Field:
    """A field of one vessel in UTC."""
    plain = Field(path=Path("field.toml"), name="T", time_zone="UTC", tags=(), streams=(), vessels=(vessel,))
    return replace(plain, **changes)


@pytest.fixture
def make_field() -> Callable[..., Field]:
    """Build a field around one vessel."""
    return field_of


@pytest.fixture
def derive() -> Callable[..., Derived]:
    """Derive one vessel over its samples: derive(samples, vessel, hours=24)."""

    def run(
        samples: pl.DataFrame,
        vessel: Vessel = KNOCKOUT,
        hours: float = 24.0,
        start: datetime = START,
        earlier: pl.DataFrame | None = None,
        **changes: object,
    ) -> Derived:
        past = VESSEL_DAYS.empty() if earlier is None else earlier
        until = start + timedelta(hours=hours)
        seen = samples.filter(pl.col("time_utc") < until)
        return derive_vessel(vessel, field_of(vessel, **changes), seen, start, until, past)

    return run


@dataclass(frozen=True)
class Saw:
    """A vessel that fills at one rate per cycle and dumps at another: every time and volume is known exactly.

    Volumes are lines between the turning points, so each number can be checked by hand.
    """

    vessel: Vessel
    opened_s: np.ndarray
    shut_s: np.ndarray
    knots_s: np.ndarray
    water_m3: np.ndarray
    passed_m3: np.ndarray
    inflow_m3_per_day: np.ndarray = field(default_factory=lambda: np.zeros(0))

    def scan(self, period_s: float, offset_s: float = 0.0) -> np.ndarray:
        """Times of regular scans over the whole record."""
        return np.arange(offset_s, self.knots_s[-1], period_s)

    def level(self, when_s: np.ndarray) -> np.ndarray:
        inside = shell(self.vessel.inside_diameter_m, self.vessel.length_m, self.vessel.heads, self.vessel.orientation)
        return inside.level_m(np.interp(when_s, self.knots_s, self.water_m3))

    def total(self, when_s: np.ndarray, pulse_m3: float = 0.0) -> np.ndarray:
        passed = np.interp(when_s, self.knots_s, self.passed_m3)
        return passed if pulse_m3 == 0.0 else np.floor(passed / pulse_m3 + 1e-9) * pulse_m3

    def is_open(self, when_s: np.ndarray) -> np.ndarray:
        started = np.searchsorted(self.opened_s, when_s, side="right")
        ended = np.searchsorted(self.shut_s, when_s, side="right")
        return (started > ended).astype(np.float64)

    def samples(
        self, *signals: str, period_s: float = 10.0, pulse_m3: float = 0.0, noise_m: float = 0.0, seed: int = 1
    ):
        """Scanned samples of the signals asked for."""
        when = self.scan(period_s)
        rng = np.random.default_rng(seed)
        total = self.total(when, pulse_m3)
        values = {
            "interface_level": lambda: self.level(when) + noise_m * rng.standard_normal(when.size),
            "water_total": lambda: total,
            "water_dump_open": lambda: self.is_open(when),
            "water_rate": lambda: self.is_open(when) * self.dump_rate,
        }
        parts = [one_signal(name, values[name]().tolist(), times_s=when) for name in signals]
        return VESSEL_SAMPLES.build(pl.concat(parts))

    @property
    def dump_rate(self) -> float:
        """Flow through the open valve. [m3/day]"""
        i = np.searchsorted(self.knots_s, self.opened_s[0])
        return (self.passed_m3[i + 1] - self.passed_m3[i]) / (self.knots_s[i + 1] - self.knots_s[i]) * 86400.0


def build_saw(
    inflow_m3_per_day: Sequence[float],
    dump_m3_per_day: float = 4000.0,
    leak_m3_per_day: float = 0.0,
    vessel: Vessel = KNOCKOUT,
    tops_m: Sequence[float] | None = None,
    bottoms_m: Sequence[float] | None = None,
) -> Saw:
    """One cycle per inflow: from just after a shutting, fill to the top, dump to the bottom."""
    settings = vessel.water_dump[0]
    inside = shell(vessel.inside_diameter_m, vessel.length_m, vessel.heads, vessel.orientation)
    tops = tops_m or [settings.opens_at_m] * len(inflow_m3_per_day)
    bottoms = bottoms_m or [settings.closes_at_m] * len(inflow_m3_per_day)
    now, water, passed = 0.0, inside.volume_m3(settings.closes_at_m), 0.0
    knots, volumes, meter, opened, shut = [now], [water], [passed], [], []
    for inflow, top, bottom in zip(inflow_m3_per_day, tops, bottoms, strict=True):
        fill_s = (inside.volume_m3(top) - water) / (inflow - leak_m3_per_day) * 86400.0
        now, water, passed = now + fill_s, inside.volume_m3(top), passed + leak_m3_per_day * fill_s / 86400.0
        knots, volumes, meter, opened = [*knots, now], [*volumes, water], [*meter, passed], [*opened, now]
        drain_s = (water - inside.volume_m3(bottom)) / (dump_m3_per_day - inflow) * 86400.0
        now, water, passed = now + drain_s, inside.volume_m3(bottom), passed + dump_m3_per_day * drain_s / 86400.0
        knots, volumes, meter, shut = [*knots, now], [*volumes, water], [*meter, passed], [*shut, now]
    return Saw(
        vessel, *(np.array(x) for x in (opened, shut, knots, volumes, meter, inflow_m3_per_day))
    )  # fmt: skip


@pytest.fixture
def make_saw() -> Callable[..., Saw]:
    """Build a tiny plant from its inflows, one per cycle."""
    return build_saw


@pytest.fixture(scope="session")
def builders() -> SimpleNamespace:
    """The builders themselves, for fixtures that are made once."""
    return SimpleNamespace(saw=build_saw, signal=one_signal)
