"""Random fleets: vessels, wells, instruments, faults and nuisances drawn from a seed."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from nightgauge.field.settings import Service
from nightgauge.simulate import faults as fault_draws
from nightgauge.simulate.design import BARREL, INCH, PSI, Design, Regime, physics, settings, water_volume_m3, wells
from nightgauge.simulate.design import design_shell as inside
from nightgauge.simulate.nuisances import annoy
from nightgauge.simulate.plan import (
    DAY_S,
    HOUR_S,
    ExportGroup,
    Fault,
    Interval,
    Physics,
    Plan,
    Slugs,
    VesselPlan,
    WellPlan,
)
from nightgauge.simulate.suites import SUITES, Quality, instrument

Rng = np.random.Generator

_DRAW_PURPOSE = 10
_END = datetime(2026, 5, 18, 6, 0, tzinfo=UTC)
"""A midnight of the zone; where fleets end unless told."""
_LEAST_BPD = 150.0  # a vessel with less would not have been built
_TRIES = 200  # the rarest kind fits and shows on about one vessel in thirty
_SERVICES: tuple[Service, ...] = ("free-water knockout", "heater treater", "separator", "test vessel")
_SHOWN_SHARE = 0.85  # of the faults that are drawn so that the vessel's signals show them; the rest test silence


@dataclass(frozen=True)
class Mixture:
    """What a fleet is made of. Shares of vessels, 0 to 1."""

    faults: tuple[str, ...] = fault_draws.KINDS
    fault_share: float = 0.6
    nuisances: bool = True


def random_fleet(vessels: int, days: int, seed: int, faults: Collection[str] | None = None,
                 mixture: Mixture | None = None, end: datetime = _END) -> Plan:  # fmt: skip
    """Return a fleet drawn from a seed.

    Parameters
    ----------
    vessels : int
        How many.
    days : int
        Length, up to `end`.
    seed : int
        The same seed gives the same fleet; a vessel does not depend on how many others there are.
    faults : collection of str, optional
        Kinds to draw from; empty for a sound fleet; all kinds by default.
    mixture : Mixture, optional
        Share of vessels with a fault and whether there are nuisances; `faults` goes before its kinds.
    end : datetime
        End of the simulated time, a midnight of America/Denver.

    Returns
    -------
    Plan
        Ready for `simulate_field`.

    """
    mixture = mixture or Mixture()
    kinds = tuple(sorted(faults)) if faults is not None else mixture.faults
    drawn = tuple(
        _vessel(f"V-{place + 1:03d}", days, replace(mixture, faults=kinds), _rng(seed, place))
        for place in range(vessels)
    )
    return Plan(
        name=f"Simulated fleet {seed}",
        time_zone="America/Denver",
        start=end - timedelta(days=days),
        days=days,
        seed=seed,
        vessels=drawn,
        exports=_exports(drawn),
        atmosphere_kpa=12.3 * PSI,
        note=f"Invented by the simulator: random_fleet(vessels={vessels}, days={days}, seed={seed})",
    )


def _rng(seed: int, place: int) -> Rng:
    return np.random.default_rng([seed, _DRAW_PURPOSE, place])


def _exports(vessels: tuple[VesselPlan, ...]) -> tuple[ExportGroup, ...]:
    """Return groups of twelve vessels whose exports differ in form."""
    forms = (
        ExportGroup("area1", (), "long-parquet", "day"),
        ExportGroup("area2", (), "long-csv", "day", "offset", "gz", repeats=5),
        ExportGroup("area3", (), "long-parquet", "week", "epoch_ms", quality="opc"),
        ExportGroup("area4", (), "wide-parquet", "day", quality="none"),
        ExportGroup("area5", (), "long-csv", "day", "local", "zst", ";", "opc", late_days=(9, 16)),
    )
    size = 12
    starts = range(0, len(vessels), size)
    return tuple(
        replace(forms[k % 5], name=f"area{k + 1}", vessels=tuple(v.id for v in vessels[i : i + size]))
        for k, i in enumerate(starts)
    )


def _vessel(name: str, days: int, mixture: Mixture, rng: Rng) -> VesselPlan:
    design, names, fault = _drawn(name, days, mixture, rng)
    if fault is not None and fault.kind == "vessel_undersized":
        design = _nearly_full(design, rng)
    fewest = 3 if design.service == "test vessel" else 1
    shares = tuple(rng.uniform(0.4, 1.6, int(rng.integers(fewest, 6))))
    slugs = Slugs(float(rng.uniform(0.0, 0.45)), float(np.exp(rng.uniform(np.log(600.0), np.log(5400.0)))),
                  float(rng.uniform(0.05, 0.5)))  # fmt: skip
    flowing = wells(design, shares, f"{name}-W", slugs)
    flowing = tuple(replace(w, wander=float(rng.uniform(0.02, 0.08))) for w in flowing)
    if fault is not None and fault.kind == "vessel_undersized":
        flowing = fault_draws.added_wells(flowing, fault, design)
    elif design.service == "test vessel":
        flowing = _in_turn(flowing, design, days, rng)
    quality = _quality(rng)
    vessel = VesselPlan(
        settings=settings(design),
        physics=_scattered(physics(design), design, rng),
        wells=flowing,
        instruments=tuple(instrument(n, design, name.removeprefix("V-"), quality) for n in names),
        faults=() if fault is None else (fault,),
    )
    return annoy(vessel, days, rng) if mixture.nuisances else vessel


def _signals(design: Design, rng: Rng) -> tuple[str, ...]:
    suite = sorted(SUITES)[int(rng.integers(len(SUITES)))]
    names = SUITES[suite]
    if design.action == "throttling" and rng.random() < 0.8:
        # A throttling valve has a position where a snap one has a switch.
        names = tuple("water_dump_position" if n == "water_dump_open" else n for n in names)
        names = (*names, "water_dump_position") if suite in ("metered", "rates") else names
    return (*names, "well_on_test") if design.service == "test vessel" else names


def _in_turn(flowing: tuple[WellPlan, ...], design: Design, days: int, rng: Rng) -> tuple[WellPlan, ...]:
    """Return the wells of a test vessel: each alone for half a day to a day, round and round."""
    turn_s, change_s = float(rng.uniform(12.0, 24.0)) * HOUR_S, float(rng.uniform(0.2, 1.5)) * HOUR_S
    starts = np.arange(0.0, days * DAY_S, turn_s + change_s)
    total = sum(w.water_m3_per_day for w in flowing)
    tested = []
    for number, well in enumerate(flowing):
        mine = [Interval(float(s), float(s + turn_s)) for s in starts[number :: len(flowing)]]
        ends = [0.0, *(turn.end_s for turn in mine)]
        begins = [*(turn.start_s for turn in mine), days * DAY_S]
        between = tuple(Interval(end, begin) for end, begin in zip(ends, begins, strict=True) if begin > end)
        factor = total / well.water_m3_per_day * float(rng.uniform(0.5, 1.2))  # alone it fills what all would
        tested.append(
            replace(
                well,
                water_m3_per_day=well.water_m3_per_day * factor,
                oil_m3_per_day=well.oil_m3_per_day * factor * float(rng.uniform(0.6, 1.4)),
                gas_m3_per_day=well.gas_m3_per_day * factor,
                off=between,
                on_test=tuple(mine),
                test_vessel=design.id,
            )
        )
    return tuple(tested)


def _drawn(name: str, days: int, mixture: Mixture, rng: Rng) -> tuple[Design, tuple[str, ...], Fault | None]:
    """Draw a kind of fault first and then a vessel that it can befall, so that rare kinds are not rare in a fleet."""
    has_fault = bool(mixture.faults) and rng.random() < mixture.fault_share
    kind = mixture.faults[int(rng.integers(len(mixture.faults)))] if has_fault else None
    must_show = rng.random() < _SHOWN_SHARE
    for _ in range(_TRIES):
        design = _design(name, rng)
        names = _signals(design, rng)
        if kind is None:
            break
        signals = frozenset(names)
        if fault_draws.fits(kind, design) and (not must_show or fault_draws.shows(kind, signals)):
            return design, names, fault_draws.draw(kind, design, signals, days, rng)
    return design, names, None


def _design(name: str, rng: Rng) -> Design:
    """Draw a vessel whose size, load and valves fit each other."""
    standing = rng.random() < 0.15
    diameter = float(rng.choice((4.0, 5.0, 6.0)) if standing else rng.choice((4.0, 5.0, 6.0, 8.0, 10.0)))
    length = float(rng.choice((10.0, 12.0, 15.0)) if standing else diameter * rng.choice((2.5, 3.0, 3.5)))
    bare = Design(
        name,
        service=_SERVICES[int(rng.choice(len(_SERVICES), p=(0.6, 0.15, 0.15, 0.1)))],
        orientation="vertical" if standing else "horizontal",
        diameter_ft=diameter,
        length_ft=length,
        heads="2:1 ellipsoidal" if rng.random() < 0.8 else "torispherical",
        action="snap" if rng.random() < 0.65 else "throttling",
    )
    height_in = inside(bare).height_m / INCH
    interface = round(height_in * float(rng.uniform(0.40, 0.50)))
    gap = float(np.clip(round(height_in * rng.uniform(0.05, 0.11) * 2.0) / 2.0, 2.5, 9.0))
    oil_level = round(interface + 0.5 * gap + max(height_in * float(rng.uniform(0.16, 0.24)), 7.0))
    shaped = replace(bare, interface_in=interface, gap_in=gap, oil_level_in=oil_level)
    return _loaded(shaped, rng)


def _loaded(design: Design, rng: Rng) -> Design:
    """Draw load, pressures and required retention of a shaped vessel."""
    shell = inside(design)
    half = 0.5 * design.gap_in * INCH
    middle = design.interface_in * INCH
    dumped = float(shell.volume_m3(middle + half)) - float(shell.volume_m3(middle - half))
    held = water_volume_m3(design)
    water_minutes = float(rng.integers(5, 13))
    fill_min = float(np.exp(rng.uniform(np.log(7.0), np.log(80.0))))
    retention = float(np.exp(rng.uniform(np.log(2.5), np.log(10.0)))) * water_minutes
    rate = dumped / fill_min if design.action == "snap" else held / retention
    rate = max(min(rate, held / (2.5 * water_minutes)) * 1440.0, _LEAST_BPD * BARREL)
    oil_volume = float(shell.volume_m3(design.oil_level_in * INCH)) - float(shell.volume_m3(middle))
    oil_minutes = float(rng.integers(8, 21))
    oil = min(rate / float(np.exp(rng.uniform(np.log(2.5), np.log(12.0)))), oil_volume / (2.5 * oil_minutes) * 1440.0)
    oil_psig = float(rng.integers(25, 61))
    absolute = (oil_psig + 12.3) / 14.696
    regime: Regime = ("oil", "both", "gas")[int(rng.choice(3, p=(0.45, 0.2, 0.35)))]
    gas_ratio = float(np.exp(rng.uniform(np.log(2.0), np.log(8.0)))) * (3.0 if regime == "gas" else 1.0)
    droop = float(rng.uniform(0.6, 2.0))
    return replace(
        design,
        water_bpd=float(f"{rate / BARREL:.3g}"),
        oil_bpd=float(f"{oil / BARREL:.3g}"),
        gas_mcfd=oil * gas_ratio * absolute / 28.316846592,
        dump_factor=float(rng.uniform(3.0, 7.0)) if design.action == "snap" else float(rng.uniform(2.2, 3.5)),
        oil_psig=oil_psig,
        margin_psi=float(rng.integers(6, 13)) / 2.0 + droop,
        water_drop_psi=float(rng.uniform(0.5, 0.8)) * oil_psig,
        oil_droop_psi=droop,
        gas_droop_psi=float(rng.uniform(0.6, 2.0)),
        sag_psi=float(rng.uniform(0.8, 3.0)),
        regime=regime,
        water_minutes=water_minutes,
        oil_minutes=oil_minutes,
        oil_api=float(rng.integers(18, 39)),
        water_gravity=round(float(rng.uniform(1.02, 1.12)), 3),
        temperature_f=float(rng.integers(85, 131)),
        shifts=(float(rng.normal(0.0, 0.25)), float(rng.normal(0.0, 0.4))),
    )


def _nearly_full(design: Design, rng: Rng) -> Design:
    """Return the design with so much water that one more well is too many, and a dump valve that still copes."""
    load = water_volume_m3(design) / (float(rng.uniform(1.35, 1.8)) * design.water_minutes) * 1440.0 / BARREL
    oil = min(design.oil_bpd, 0.25 * load)
    return replace(design, water_bpd=float(f"{load:.3g}"), oil_bpd=float(f"{oil:.3g}"), dump_factor=6.0)


def _scattered(p: Physics, design: Design, rng: Rng) -> Physics:
    """Return the plant with what differs from vessel to vessel and nobody knows."""
    return replace(
        p,
        trip_scatter_m=design.gap_in * INCH * float(rng.uniform(0.01, 0.05)),
        slack=float(rng.uniform(0.005, 0.04)),
        stroke_s=float(rng.uniform(3.0, 15.0)),
        cv=p.cv * float(rng.uniform(0.85, 1.05)),
        water_line_loss_kpa=float(rng.uniform(2.0, 12.0)),
        seat_leak=float(rng.uniform(0.0005, 0.004)),
        line_pack_m3=p.line_pack_m3 * float(rng.uniform(0.8, 1.5)),
        header_loss_kpa=float(rng.uniform(1.5, 6.0)) * PSI,
        inflow_per_kpa=float(rng.uniform(0.0001, 0.0006)),
        cut_floor=float(rng.uniform(0.003, 0.03)),
        cut_short=float(rng.uniform(0.1, 0.4)),
        cut_minutes=p.cut_minutes * float(rng.uniform(0.4, 0.8)),
        oil_in_water_floor_mg_l=float(rng.uniform(30.0, 150.0)),
        oil_in_water_short_mg_l=float(rng.uniform(300.0, 1500.0)),
        oil_in_water_minutes=p.oil_in_water_minutes * float(rng.uniform(0.4, 0.8)),
        mist=float(rng.uniform(1e-6, 5e-6)),
        scrubber_dump_m3=_scrubber_dump(design, rng),
        temperature_day_c=float(rng.uniform(0.5, 4.0)),
        temperature_season_c=float(rng.uniform(0.0, 6.0)),
    )


def _scrubber_dump(design: Design, rng: Rng) -> float:
    """Return a scrubber dump that a sound vessel makes a few to a dozen times a day."""
    return design.gas_mcfd * 28.316846592 * 3e-6 / float(rng.uniform(4.0, 12.0))


def _quality(rng: Rng) -> Quality:
    return Quality(
        scan_s=float(rng.choice((5.0, 10.0, 15.0, 30.0, 60.0), p=(0.2, 0.3, 0.15, 0.2, 0.15))),
        noise=float(np.exp(rng.uniform(np.log(0.5), np.log(2.5)))),
        band=float(np.exp(rng.uniform(np.log(0.6), np.log(4.0)))),
        max_interval_s=float(rng.choice((600.0, 900.0, 1200.0, 1800.0))),
        texts=bool(rng.random() < 0.6),
    )
