"""Random fleets: vessels, wells, instruments, faults and nuisances drawn from a seed."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from nightgauge.simulate import faults as fault_draws
from nightgauge.simulate.asked import with_asked
from nightgauge.simulate.design import PSI, Design, physics, settings, wells
from nightgauge.simulate.nuisances import annoy
from nightgauge.simulate.plan import (
    DAY_S,
    HOUR_S,
    ExportGroup,
    Fault,
    Interval,
    Plan,
    Slugs,
    VesselPlan,
    WellPlan,
)
from nightgauge.simulate.ranges import USUAL, Ranges, evenly, in_ratio
from nightgauge.simulate.sizes import draw_design, nearly_full, scattered
from nightgauge.simulate.suites import SUITES, Quality, instrument

Rng = np.random.Generator

_DRAW_PURPOSE, _ASKED_PURPOSE = 10, 11
_END = datetime(2026, 5, 18, 6, 0, tzinfo=UTC)
"""A midnight of the zone; where fleets end unless told."""
_TRIES = 200  # the rarest kind fits and shows on about one vessel in thirty
_SHOWN_SHARE = 0.85  # of the faults that are drawn so that the vessel's signals show them; the rest test silence


@dataclass(frozen=True)
class Mixture:
    """What a fleet is made of. Shares of vessels, 0 to 1."""

    faults: tuple[str, ...] = fault_draws.KINDS
    fault_share: float = 0.6
    nuisances: bool = True
    ranges: Ranges = USUAL
    """How far vessels differ from each other."""


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
        Kinds to draw from; empty for a sound fleet; by default all of `faults.KINDS`. Those of `faults.ASKED` are
        drawn beside them, for vessels that would be sound.
    mixture : Mixture, optional
        Share of vessels with a fault, whether there are nuisances, how far vessels differ; `faults` goes before its
        kinds.
    end : datetime
        End of the simulated time, a midnight of America/Denver.

    Returns
    -------
    Plan
        Ready for `simulate_field`.

    """
    mixture = mixture or Mixture()
    kinds = tuple(sorted(faults)) if faults is not None else mixture.faults
    usual = replace(mixture, faults=tuple(kind for kind in kinds if kind not in fault_draws.ASKED))
    asked = [kind for kind in kinds if kind in fault_draws.ASKED]
    drawn = tuple(_vessel(f"V-{place + 1:03d}", days, usual, _rng(seed, place)) for place in range(vessels))
    if asked:
        drawn = tuple(
            with_asked(v, asked, mixture.fault_share, end, np.random.default_rng([seed, _ASKED_PURPOSE, place]))
            for place, v in enumerate(drawn)
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
    areas = tuple(
        replace(forms[k % 5], name=f"area{k + 1}", vessels=tuple(v.id for v in vessels[i : i + size]))
        for k, i in enumerate(starts)
    )
    protected = tuple(v.id for v in vessels if v.anodes)
    return (*areas, ExportGroup("anodes", protected, "long-parquet", holds="anodes")) if protected else areas


def _vessel(name: str, days: int, mixture: Mixture, rng: Rng) -> VesselPlan:
    design, names, fault = _drawn(name, days, mixture, rng)
    if fault is not None and fault.kind == "vessel_undersized":
        design = nearly_full(design, rng)
    fewest = 3 if design.service == "test vessel" else 1
    shares = tuple(rng.uniform(0.4, 1.6, int(rng.integers(fewest, 6))))
    ranges = mixture.ranges
    slugs = Slugs(evenly(ranges.slug_height, rng), in_ratio(ranges.slug_period_s, rng),
                  evenly(ranges.slug_irregularity, rng))  # fmt: skip
    flowing = wells(design, shares, f"{name}-W", slugs)
    flowing = tuple(replace(w, wander=evenly(ranges.wander, rng)) for w in flowing)
    if fault is not None and fault.kind == "vessel_undersized":
        flowing = fault_draws.added_wells(flowing, fault, design)
    elif design.service == "test vessel":
        flowing = _in_turn(flowing, design, days, rng)
    quality = _quality(ranges, rng)
    vessel = VesselPlan(
        settings=settings(design),
        physics=scattered(physics(design), design, ranges, rng),
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
        design = draw_design(name, mixture.ranges, rng)
        names = _signals(design, rng)
        if kind is None:
            break
        signals = frozenset(names)
        if fault_draws.fits(kind, design) and (not must_show or fault_draws.shows(kind, signals)):
            return design, names, fault_draws.draw(kind, design, signals, days, rng)
    return design, names, None


def _quality(ranges: Ranges, rng: Rng) -> Quality:
    return Quality(
        scan_s=float(rng.choice(ranges.scans_s, p=ranges.scan_shares)),
        noise=in_ratio(ranges.noise, rng),
        band=in_ratio(ranges.dead_band, rng),
        max_interval_s=float(rng.choice((600.0, 900.0, 1200.0, 1800.0))),
        texts=bool(rng.random() < 0.6),
    )
