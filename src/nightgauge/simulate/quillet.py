"""Quillet Bench: the field of `sample_streams/`, invented, six weeks of eight vessels."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from nightgauge.field.settings import Anode, Heating, Inspection, Prices, Well
from nightgauge.simulate.anodes import anode_instrument
from nightgauge.simulate.design import BARREL, INCH, MCF, PSI, Design, physics, settings, wells
from nightgauge.simulate.faults import added_wells
from nightgauge.simulate.plan import (
    DAY_S,
    HOUR_S,
    AnodePlan,
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
_POUND_KG = 0.45359237
_MMBTU_MJ = 1055.05585262
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
    vessels = [_priced(vessel) for vessel in _with_tests(vessels)]
    return Plan(
        name="Quillet Bench",
        time_zone="America/Denver",
        start=_END - timedelta(days=_DAYS),
        days=_DAYS,
        seed=SEED,
        vessels=(*vessels, _north_test_vessel()),
        exports=_EXPORTS,
        atmosphere_kpa=12.3 * PSI,
        note=_NOTE,
        prices=Prices("USD", oil_per_m3=62.0 / BARREL, fuel_per_mj=3.1 / _MMBTU_MJ),
        has_routing=True,
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
    ExportGroup("north_tests", ("QB-108",), "long-parquet", "week"),
    ExportGroup("anodes", ("QB-102",), "long-parquet", "week", holds="anodes"),
)

_PROTECTED = "QB-102"


def _anode(name: str, current_a: float, left: float, *, is_measured: bool = True) -> AnodePlan:
    """Return a bar of magnesium of 32 lb, put in with the others and looked at with them once."""
    put_in, looked_at = (datetime(y, m, d, 12, tzinfo=UTC) for y, m, d in ((2025, 6, 10), (2026, 2, 3)))
    made = anode_instrument("102", name) if is_measured else None
    return AnodePlan(
        Anode(name, _PROTECTED, "magnesium", 32.0 * _POUND_KG, None if made is None else made.tag, put_in),
        current_a,
        instrument=made,
        inspections=(Inspection(looked_at, _PROTECTED, name, left_fraction=left, note="looked at in the shutdown"),),
    )


_ANODES = (
    _anode("A1", 0.18, 0.94),
    _anode("A2", 0.15, 0.95),
    _anode("A3", 0.0, 0.92, is_measured=False),
)
_BROKEN_LEAD = Fault("anode_current_lost", _day(29, 9.0), part="A2")

_TESTED = ("QB-W1", "QB-W2", "QB-W3", "QB-W9", "QB-W10")
_TURN_H = 22.0  # a test of about a day, and two hours to line the next well up

_NORTH = Design("QB-108", "North test vessel", service="test vessel", diameter_ft=4.0, length_ft=10.0,
                interface_in=22.0, oil_level_in=34.0, gap_in=6.0, water_bpd=760.0, oil_bpd=120.0, gas_mcfd=18.0,
                oil_psig=44.0, margin_psi=4.0, water_drop_psi=28.0, water_minutes=6.0, oil_minutes=8.0)  # fmt: skip
_NORTH_RATES = {
    "QB-W22": (690.0, 95.0, 15.0),
    "QB-W23": (520.0, 120.0, 18.0),
    "QB-W24": (860.0, 80.0, 13.0),
    "QB-W25": (450.0, 140.0, 21.0),
}
"""Water and oil [bbl/day], gas [Mcf/day]."""


def _north_test_vessel() -> VesselPlan:
    """Return a second test vessel, of wells that go elsewhere between tests; which is on test only its list says."""
    names = list(_NORTH_RATES)
    return VesselPlan(
        settings=settings(_NORTH),
        physics=_scatter(physics(_NORTH), _NORTH, len(_BENCHES)),
        wells=tuple(_north_well(name, number, len(names)) for number, name in enumerate(names)),
        instruments=tuple(_instrument(s, _NORTH, _SLOW) for s in ("vessel_pressure", "water_total", "oil_total")),
        faults=(Fault("well_test_decline", _day(22, 0.0), size=0.38, ramp_s=8.0 * DAY_S, part="QB-W24"),),
        plant=1,
    )


def _north_well(name: str, number: int, every: int) -> WellPlan:
    water, oil, gas = _NORTH_RATES[name]
    turns = tuple(_stretch(day, 8.0, _TURN_H) for day in range(number, _DAYS, every))
    ends = [0.0, *(turn.end_s for turn in turns)]
    begins = [*(turn.start_s for turn in turns), _DAYS * DAY_S]
    return WellPlan(
        Well(name, None, "ESP", round(2.0 + water / 200.0, 1) * BARREL / PSI),
        water_m3_per_day=water * BARREL,
        oil_m3_per_day=oil * BARREL,
        gas_m3_per_day=gas * MCF,
        slugs=Slugs(0.2, 2400.0 + 300.0 * number, 0.3),
        off=tuple(Interval(end, begin) for end, begin in zip(ends, begins, strict=True) if begin > end),
        wander=0.03,
        on_test=turns,
        test_vessel=_NORTH.id,
    )


def _priced(vessel: VesselPlan) -> VesselPlan:
    """Return a vessel with what only money needs: the pressure its oil valve must hold, the heater that follows."""
    written = vessel.settings
    if vessel.id in _NEEDS:
        (valve,) = written.oil_valve
        written = replace(written, oil_valve=(replace(valve, needs_kpag=_NEEDS[vessel.id] * PSI),))
    if vessel.id in _HEATED:
        written = replace(written, heating=Heating(to_c=60.0, efficiency=0.7))
    return replace(vessel, settings=written)


_NEEDS = {"QB-101": 38.0, "QB-102": 34.0, "QB-104": 22.0}
"""[psig]"""
_HEATED = ("QB-101", "QB-102", "QB-103")


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
    anodes = _ANODES if d.id == _PROTECTED else ()
    return VesselPlan(
        settings=settings(d),
        physics=_scatter(physics(d), d, number),
        wells=flowing,
        instruments=tuple(_instrument(s, d, bench.quality) for s in bench.signals),
        faults=(*bench.faults, _BROKEN_LEAD) if anodes else bench.faults,
        anodes=anodes,
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
