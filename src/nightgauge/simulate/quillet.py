"""Quillet Bench: the field of `sample_streams/`, invented, six weeks of seven vessels."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from nightgauge.simulate.design import INCH, MCF, PSI, Design, physics, settings, wells
from nightgauge.simulate.faults import added_wells
from nightgauge.simulate.plan import (
    DAY_S,
    HOUR_S,
    ExportGroup,
    Fault,
    Instrument,
    Interval,
    Physics,
    Plan,
    Slugs,
    VesselPlan,
    WellPlan,
)
from nightgauge.simulate.suites import Quality, instrument

SEED = 20260518
_DAYS = 42
_END = datetime(2026, 5, 18, 6, 0, tzinfo=UTC)  # midnight in Denver
_NOTE = "Quillet Bench is invented: made by the simulator of this project. What was done to it is in truth.csv."


@dataclass(frozen=True)
class _Bench:
    """One vessel of the bench before it is put together."""

    design: Design
    signals: tuple[str, ...]
    quality: Quality
    shares: tuple[float, ...]
    slugs: Slugs = field(default_factory=Slugs)
    faults: tuple[Fault, ...] = ()
    shut_in: tuple[Interval, ...] = ()
    hand_dumps: tuple[Interval, ...] = ()
    change: float = 0.0
    """Slow change of inflow. [1/day]"""


def quillet_bench() -> Plan:
    """Return the plan of `sample_streams/`."""
    vessels = [_vessel(number, bench) for number, bench in enumerate(_BENCHES)]
    vessels = _with_tests(vessels)
    return Plan(
        name="Quillet Bench",
        time_zone="America/Denver",
        start=_END - timedelta(days=_DAYS),
        days=_DAYS,
        seed=SEED,
        vessels=tuple(vessels),
        exports=_EXPORTS,
        atmosphere_kpa=12.3 * PSI,
        note=_NOTE,
    )


def _day(day: float, hour: float = 0.0) -> float:
    return day * DAY_S + hour * HOUR_S


def _stretch(day: float, hour: float, hours: float) -> Interval:
    return Interval(_day(day, hour), _day(day, hour + hours))


_GOOD = Quality(scan_s=10.0, band=2.0, max_interval_s=1800.0)
_COARSE = Quality(scan_s=30.0, noise=1.5, band=2.5, max_interval_s=1800.0, texts=False)
_SLOW = Quality(scan_s=60.0, band=3.0, max_interval_s=1500.0)

_BENCHES = (
    _Bench(
        Design("QB-101", "East battery knockout", gap_in=8.0, water_bpd=2400.0, oil_bpd=320.0, gas_mcfd=45.0,
               settling_length_ft=16.0, water_gravity=1.06, shifts=(0.2, -0.3)),
        ("vessel_pressure", "inlet_pressure", "interface_level", "water_dump_open", "water_total", "oil_total"),
        _GOOD, (1.2, 0.9, 0.6), Slugs(0.25, 2400.0, 0.3),
        faults=(Fault("float_stuck_closed", _day(37, 3.2), _day(38, 9.5)),),
        hand_dumps=(Interval(_day(12, 10.0), _day(12, 10.05)),),
    ),
    _Bench(
        Design("QB-102", "Mesa knockout", diameter_ft=10.0, length_ft=30.0, interface_in=54.0, oil_level_in=84.0,
               action="throttling", gap_in=5.0, water_bpd=7200.0, oil_bpd=900.0, gas_mcfd=420.0, regime="gas",
               dump_factor=2.6, oil_psig=38.0, margin_psi=5.0, water_drop_psi=24.0, oil_api=24.0, shifts=(-0.3, 0.4)),
        ("vessel_pressure", "interface_level", "water_dump_position", "water_rate", "gas_rate", "oil_water_cut"),
        _SLOW, (1.0, 1.1, 0.8, 0.7, 0.9), Slugs(0.2, 4200.0, 0.4), change=0.006,
    ),
    _Bench(
        Design("QB-103", "Draw two-well knockout", diameter_ft=6.0, length_ft=15.0, interface_in=32.0,
               oil_level_in=50.0, gap_in=6.0, water_bpd=640.0, oil_bpd=110.0, gas_mcfd=14.0, oil_psig=32.0,
               margin_psi=4.0, water_drop_psi=20.0, oil_api=31.0, water_gravity=1.08, shifts=(0.1, 0.2)),
        ("vessel_pressure", "interface_level", "water_total"),
        _COARSE, (1.0, 0.8), Slugs(0.3, 1500.0, 0.4),
        faults=(Fault("dump_leaking", _day(27, 6.0), size=1.6, ramp_s=6.0 * DAY_S),),
    ),
    _Bench(
        Design("QB-104", "Draw treater", service="heater treater", diameter_ft=6.0, length_ft=20.0, interface_in=30.0,
               oil_level_in=50.0, gap_in=5.0, water_bpd=420.0, oil_bpd=260.0, gas_mcfd=24.0, oil_psig=28.0,
               margin_psi=4.5, water_drop_psi=18.0, temperature_f=128.0, oil_minutes=25.0, shifts=(0.0, 0.1)),
        ("vessel_pressure", "inlet_pressure", "interface_level", "temperature"),
        _COARSE, (1.0, 1.4), Slugs(0.15, 2000.0, 0.3),
        faults=(Fault("oil_valve_setpoint_drift", _day(22, 0.0), size=-4.2 * PSI, ramp_s=15.0 * DAY_S),),
    ),
    _Bench(
        Design("QB-105", "Bench test vessel", service="test vessel", diameter_ft=4.0, length_ft=10.0,
               interface_in=22.0, oil_level_in=34.0, gap_in=6.0, water_bpd=900.0, oil_bpd=130.0, gas_mcfd=20.0,
               oil_psig=40.0, margin_psi=4.0, water_drop_psi=26.0, water_minutes=6.0, oil_minutes=8.0),
        ("vessel_pressure", "inlet_pressure", "interface_level", "water_dump_open", "water_total", "oil_total",
         "well_on_test"),
        _GOOD, (),
    ),
    _Bench(
        Design("QB-106", "North standing separator", service="separator", orientation="vertical", diameter_ft=5.0,
               length_ft=12.0, interface_in=66.0, oil_level_in=100.0, action="throttling", gap_in=5.0,
               water_bpd=1900.0, oil_bpd=240.0, gas_mcfd=30.0, dump_factor=4.0, oil_psig=50.0, margin_psi=4.0,
               water_drop_psi=32.0, water_minutes=8.0, oil_api=29.0, mist_extractor=False, shifts=(0.0, 0.5)),
        ("vessel_pressure", "water_rate", "oil_rate"),
        _SLOW, (1.0, 0.9), Slugs(0.3, 3000.0, 0.3),
        faults=(Fault("vessel_undersized", _day(28, 15.0), size=0.72),),
    ),
    _Bench(
        Design("QB-107", "West battery knockout", length_ft=25.0, gap_in=7.0, water_bpd=1500.0, oil_bpd=300.0,
               gas_mcfd=190.0, regime="gas", oil_psig=42.0, margin_psi=5.0, water_drop_psi=28.0,
               water_gravity=1.07, shifts=(-0.2, 0.0)),
        ("vessel_pressure", "interface_level", "water_dump_open", "gas_rate", "scrubber_dump_open"),
        _SLOW, (1.0, 1.2, 0.7), Slugs(0.35, 3600.0, 0.5),
        shut_in=(_stretch(18, 7.0, 25.0),), hand_dumps=(Interval(_day(30, 14.0), _day(30, 14.04)),),
        change=-0.004,
    ),
)  # fmt: skip

_OFF: dict[str, tuple[Interval, ...]] = {
    "QB-W1": (_stretch(9, 4.0, 11.0),),
    "QB-W4": (_stretch(20, 13.0, 30.0),),
    "QB-W6": (_stretch(33, 1.0, 6.0),),
    "QB-W9": (_stretch(15, 8.0, 4.0), _stretch(31, 22.0, 16.0)),
    "QB-W11": (_stretch(11, 6.0, 40.0),),
    "QB-W15": (_stretch(25, 9.0, 8.0),),
}
"""Wells that stand for a while."""

_BAD = {
    "PIT-101": (_stretch(24, 11.0, 2.5),),
    "LIT-103A": (_stretch(16, 2.0, 4.0),),
    "FIT-102W": (_stretch(29, 17.0, 1.5),),
    "LIT-107A": (_stretch(36, 5.0, 3.0),),
}
"""Hours in which the historian marks a signal bad."""

_EXPORTS = (
    ExportGroup("east", ("QB-101", "QB-105"), "long-csv", "day", "offset", "gz", repeats=4, late_days=(34,)),
    ExportGroup("mesa", ("QB-102", "QB-107"), "long-parquet", "week", "utc", quality="opc"),
    ExportGroup("draw", ("QB-103", "QB-104"), "wide-csv", "week", "local", "gz", quality="none"),
    ExportGroup("north", ("QB-106",), "wide-parquet", "week", "epoch_ms", quality="none"),
)

_TESTED = ("QB-W1", "QB-W2", "QB-W3", "QB-W9", "QB-W10")
_TURN_H = 22.0  # a test of about a day, and two hours to line the next well up


def _vessel(number: int, bench: _Bench) -> VesselPlan:
    d = bench.design
    first = sum(len(b.shares) for b in _BENCHES[:number]) + 1
    flowing = tuple(
        replace(
            well,
            settings=replace(well.settings, id=f"QB-W{first + k}"),
            off=_OFF.get(f"QB-W{first + k}", ()),
            trend_per_day=bench.change,
        )
        for k, well in enumerate(wells(d, bench.shares, "QB-W", bench.slugs) if bench.shares else ())
    )
    for fault in bench.faults:
        if fault.kind == "vessel_undersized":
            flowing = added_wells(flowing, fault, d)
            flowing = (*flowing[:-1], replace(flowing[-1], settings=replace(flowing[-1].settings, id="QB-W21")))
    return VesselPlan(
        settings=settings(d),
        physics=_scatter(physics(d), d, number),
        wells=flowing,
        instruments=tuple(_instrument(s, d, bench.quality) for s in bench.signals),
        faults=bench.faults,
        shut_in=bench.shut_in,
        hand_dumps=bench.hand_dumps,
    )


def _instrument(signal: str, design: Design, quality: Quality) -> Instrument:
    made = instrument(signal, design, design.id.removeprefix("QB-"), quality)
    made = replace(made, bad=_BAD.get(made.tag, ()))
    if made.tag == "FQI-101W":
        return replace(made, roll_over=100_000.0, first_count=41_250.0, back_pulses_s=(_day(8, 3.1), _day(21, 17.4)))
    if made.tag == "FQI-103W":
        return replace(made, resets_s=(_day(14, 9.0),), first_count=8_812.0, meter_factor=1.012)
    return made


def _scatter(p: Physics, design: Design, number: int) -> Physics:
    """Return the plant with what nobody wrote down, drawn from the bench's own seed."""
    rng = np.random.default_rng([SEED, number])
    return replace(
        p,
        trip_scatter_m=design.gap_in * INCH * float(rng.uniform(0.015, 0.03)),
        slack=float(rng.uniform(0.01, 0.03)),
        stroke_s=float(rng.uniform(4.0, 10.0)),
        cv=p.cv * float(rng.uniform(0.93, 1.0)),
        cut_minutes=p.cut_minutes * 0.5,
        oil_in_water_minutes=p.oil_in_water_minutes * 0.6,
        scrubber_dump_m3=design.gas_mcfd * MCF * 3e-6 / 7.0,
        header_loss_kpa=float(rng.uniform(2.0, 4.5)) * PSI,
    )


def _with_tests(vessels: list[VesselPlan]) -> list[VesselPlan]:
    """Send the tested wells to the test vessel by turns, a day each, round and round."""
    turns: dict[str, list[Interval]] = {well: [] for well in _TESTED}
    for day in range(_DAYS):
        turns[_TESTED[day % len(_TESTED)]].append(_stretch(day, 8.0, _TURN_H))
    return [replace(v, wells=tuple(_routed(w, turns) for w in v.wells)) for v in vessels]


def _routed(well: WellPlan, turns: dict[str, list[Interval]]) -> WellPlan:
    mine = tuple(turns.get(well.settings.id, ()))
    return replace(well, on_test=mine, test_vessel="QB-105" if mine else None)
