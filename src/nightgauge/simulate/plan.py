"""What is to be simulated, as frozen objects: vessels, wells, instruments, faults, nuisances, exports.

Times of events are seconds since the plan's start. Everything random has been drawn when a plan
exists, except noise and scatter, which come from generators seeded by the plan's seed and the vessel's
place: the same plan gives the same folder to the byte.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import Anode, Inspection, Outage, Prices, Vessel, Well

DAY_S = 86400.0
HOUR_S = 3600.0
_STRETCH_S = DAY_S  # the plant runs a day at a time; scans have to come out even at its end

Form = Literal["long-csv", "wide-csv", "long-parquet", "wide-parquet"]
Stamp = Literal["local", "offset", "utc", "epoch_ms"]


@dataclass(frozen=True)
class Interval:
    """A stretch of time, [start, end) in seconds since the plan's start."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Slugs:
    """How a well slugs: quiet part, then a burst of liquid while the gas drops, then again."""

    height: float = 0.0
    """Share by which the quiet part lies below the mean."""
    period_s: float = 2400.0
    irregularity: float = 0.2
    """Standard deviation of the logarithm of the periods."""


@dataclass(frozen=True)
class WellPlan:
    """One well: what it makes when it runs, and when it runs. Rates in m3/day; gas at standard conditions."""

    settings: Well
    water_m3_per_day: float
    oil_m3_per_day: float
    gas_m3_per_day: float
    slugs: Slugs = Slugs()
    off: tuple[Interval, ...] = ()
    starts_s: float = 0.0
    """A well added later starts here."""
    wander: float = 0.05
    """Standard deviation of the slow random change of the inflow, as a share."""
    trend_per_day: float = 0.0
    """Slow change of inflow, as a share of the first day's. [1/day]"""
    on_test: tuple[Interval, ...] = ()
    """When it is routed to the test vessel."""
    test_vessel: str | None = None


@dataclass(frozen=True)
class Physics:
    """What nobody writes into field.toml: the plant as it is."""

    opens_at_m: float = 0.0
    closes_at_m: float = 0.0
    """Snap float; a throttling one is shut at `closes_at_m` and full open at `opens_at_m`."""
    trip_scatter_m: float = 0.003
    slack: float = 0.02
    """Lost motion of a throttling linkage, as a share of the travel."""
    stroke_s: float = 6.0
    cv: float = 50.0
    nozzle_m: float = 0.1
    """Interface below which the water outlet draws oil, then gas."""
    water_downstream_kpag: float = 100.0
    water_line_loss_kpa: float = 5.0
    """In the water line at rated dump flow."""
    oil_holds_kpag: float = 300.0
    oil_droop_kpa: float = 10.0
    """Rise of pressure from shut to full open."""
    oil_capacity_m3_per_day: float = 2000.0
    """Liquid through the full open oil valve."""
    oil_gas_ratio: float = 2.0
    """Actual volume of gas that takes the place of one volume of liquid in the oil valve."""
    gas_holds_kpag: float = 330.0
    gas_droop_kpa: float = 10.0
    gas_capacity_m3_per_day: float = 2000.0
    """Actual volume through the full open gas valve."""
    seat_leak: float = 0.002
    """Share of the gas valve's capacity that passes when shut: pressure sags over hours without inflow."""
    line_pack_m3: float = 10.0
    """Gas in header and flowlines that breathes with the vessel."""
    header_loss_kpa: float = 30.0
    """From header to vessel at the full inflow."""
    full_inflow_m3_per_day: float = 500.0
    inflow_per_kpa: float = 0.0004
    """Share of inflow lost per kPa of back pressure above the oil valve's setting."""
    cut_floor: float = 0.01
    cut_short: float = 0.3
    """Water in the oil with no retention at all, above the floor."""
    cut_minutes: float = 12.0
    """Retention that takes the excess cut down by e."""
    oil_in_water_floor_mg_l: float = 60.0
    oil_in_water_short_mg_l: float = 900.0
    oil_in_water_minutes: float = 8.0
    mist: float = 3e-6
    """Liquid carried per standard volume of gas."""
    scrubber_dump_m3: float = 0.02
    scrubber_low_m: float = 0.2
    scrubber_high_m: float = 0.5
    temperature_c: float = 35.0
    temperature_day_c: float = 2.0
    temperature_season_c: float = 3.0
    atmosphere_kpa: float = 101.325


@dataclass(frozen=True)
class Instrument:
    """One transmitter, switch or meter and the way the historian keeps it. Values in the unit it shows."""

    signal: str
    tag: str
    unit: str
    scan_s: float = 10.0
    noise: float = 0.0
    dead_band: float = 0.0
    max_interval_s: float = 1800.0
    resolution: float = 0.01
    bias: float = 0.0
    pulse: float = 1.0
    """Totalisers: volume of one count, in the meter's unit."""
    roll_over: float = 1e6
    first_count: float = 0.0
    meter_factor: float = 1.0
    resets_s: tuple[float, ...] = ()
    back_pulses_s: tuple[float, ...] = ()
    states: tuple[str, str] | None = None
    """Texts for 0 and 1; None where the historian keeps numbers."""
    bad: tuple[Interval, ...] = ()
    silent: tuple[Interval, ...] = ()


@dataclass(frozen=True)
class Fault:
    """One fault. `size` is in the kind's own measure (see `curves`); a ramp grows from zero."""

    kind: str
    start_s: float
    end_s: float | None = None
    size: float = 1.0
    ramp_s: float = 0.0
    signal: str | None = None
    valve: Literal["oil", "gas"] = "oil"
    part: str | None = None
    """Well or anode that it befalls."""


@dataclass(frozen=True)
class AnodePlan:
    """One sacrificial anode: what was written down of it, the current it gives, how that is read."""

    settings: Anode
    current_a: float = 0.2
    """At the vessel's usual temperature."""
    wander: float = 0.04
    """Standard deviation of the slow random change of the current, as a share."""
    instrument: Instrument | None = None
    """None where nobody measures it."""
    inspections: tuple[Inspection, ...] = ()


@dataclass(frozen=True)
class VesselPlan:
    """One vessel: what its people wrote down, what it is, what flows in, what is measured, what goes wrong."""

    settings: Vessel
    physics: Physics
    wells: tuple[WellPlan, ...]
    instruments: tuple[Instrument, ...]
    faults: tuple[Fault, ...] = ()
    shut_in: tuple[Interval, ...] = ()
    """All wells off at once."""
    hand_dumps: tuple[Interval, ...] = ()
    """Somebody holds the dump open."""
    anodes: tuple[AnodePlan, ...] = ()
    plant: int = 0
    """Vessels of one number share wells and chance; those of another neither. Vessels stand in order of it."""

    @property
    def id(self) -> str:
        """Return the vessel's id."""
        return self.settings.id

    @property
    def is_snap(self) -> bool:
        """Return whether the dump trips open and shut."""
        return self.settings.water_dump[0].action != "throttling"

    def signals(self) -> frozenset[str]:
        """Return the signals that are measured."""
        return frozenset(i.signal for i in self.instruments)


@dataclass(frozen=True)
class ExportGroup:
    """How the samples of some vessels leave the historian."""

    name: str
    vessels: tuple[str, ...]
    form: Form = "long-parquet"
    per: Literal["day", "week"] = "week"
    stamp: Stamp = "utc"
    compression: Literal["", "gz", "zst"] = ""
    separator: str = ","
    quality: Literal["words", "opc", "none"] = "words"
    late_days: tuple[int, ...] = ()
    """Days whose rows come in a file of their own, named after the day they arrived, two days later."""
    repeats: int = 0
    """Rows at the end of a file that the next file holds again."""
    holds: Literal["process", "anodes"] = "process"
    """Which of the vessels' tags."""


@dataclass(frozen=True)
class Plan:
    """A whole field folder to be made."""

    name: str
    time_zone: str
    start: datetime
    days: int
    seed: int
    vessels: tuple[VesselPlan, ...]
    exports: tuple[ExportGroup, ...]
    step_s: float = 5.0
    """Of the plant; divides a minute. 5 s resolves the shortest dump drawn (about a minute) and a stroke."""
    outages: tuple[Outage, ...] = ()
    atmosphere_kpa: float = 101.325
    note: str = ""
    prices: Prices | None = None
    has_routing: bool = False
    """Whether somebody keeps a list of where wells were sent."""
    branch: int = 0
    """Number of the plant that this is, where a plan has been parted by them."""

    def __post_init__(self) -> None:
        """Refuse a step that minutes or scans are not made of, and plants that are mixed."""
        plants = [vessel.plant for vessel in self.vessels]
        if plants != sorted(plants):
            raise ProgrammerError(f"vessels of plants {plants}: expected them in order of their plant")
        if 60.0 % self.step_s:
            raise ProgrammerError(f"step of {self.step_s} s does not divide a minute")
        scans = {i.scan_s for v in self.vessels for i in v.instruments}
        odd = sorted(s for s in scans if s % self.step_s or _STRETCH_S % s)
        if odd:
            raise ProgrammerError(f"scans of {odd} s: expected multiples of the step, {self.step_s} s, within a day")

    @property
    def end(self) -> datetime:
        """Return the end of the simulated time."""
        return self.start + timedelta(days=self.days)

    @property
    def zone(self) -> ZoneInfo:
        """Return the field's zone."""
        return ZoneInfo(self.time_zone)

    @property
    def minutes(self) -> int:
        """Return the number of whole minutes."""
        return self.days * 1440

    def at(self, second: float) -> datetime:
        """Return a time of the plan as an instant."""
        return self.start + timedelta(seconds=second)

    def rng(self, purpose: int, place: int = 0) -> np.random.Generator:
        """Return the generator for one purpose at one vessel's place, the same for every run of the plan."""
        return np.random.default_rng([self.seed, purpose, place, *([self.branch] if self.branch else [])])

    def by_plant(self) -> tuple["Plan", ...]:
        """Return the plans of the plants, each with its own vessels and its own chance."""
        return tuple(
            replace(self, vessels=tuple(v for v in self.vessels if v.plant == number), branch=number)
            for number in sorted({v.plant for v in self.vessels})
        )
