"""Vessels drawn so that size, load, valves and pressures fit each other, and what differs from one to the next."""

from dataclasses import replace

import numpy as np

from nightgauge.field.settings import Service
from nightgauge.simulate.design import BARREL, INCH, MCF, PSI, Design, Regime, water_volume_m3
from nightgauge.simulate.design import design_shell as inside
from nightgauge.simulate.plan import Physics
from nightgauge.simulate.ranges import Ranges, evenly

Rng = np.random.Generator

_SERVICES: tuple[Service, ...] = ("free-water knockout", "heater treater", "separator", "test vessel")
_LEAST_BPD = 150.0  # a vessel with less would not have been built


def draw_design(name: str, ranges: Ranges, rng: Rng) -> Design:
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
    return _loaded(shaped, ranges, rng)


def _loaded(design: Design, ranges: Ranges, rng: Rng) -> Design:
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
    droop = evenly(ranges.droop_psi, rng)
    return replace(
        design,
        water_bpd=float(f"{rate / BARREL:.3g}"),
        oil_bpd=float(f"{oil / BARREL:.3g}"),
        gas_mcfd=oil * gas_ratio * absolute / MCF,
        dump_factor=float(rng.uniform(3.0, 7.0)) if design.action == "snap" else float(rng.uniform(2.2, 3.5)),
        oil_psig=oil_psig,
        margin_psi=float(rng.integers(6, 13)) / 2.0 + droop,
        water_drop_psi=float(rng.uniform(0.5, 0.8)) * oil_psig,
        oil_droop_psi=droop,
        gas_droop_psi=evenly(ranges.droop_psi, rng),
        sag_psi=float(rng.uniform(0.8, 3.0)),
        regime=regime,
        water_minutes=water_minutes,
        oil_minutes=oil_minutes,
        oil_api=float(rng.integers(18, 39)),
        water_gravity=round(float(rng.uniform(1.02, 1.12)), 3),
        temperature_f=float(rng.integers(85, 131)),
        shifts=(float(rng.normal(0.0, 0.25)), float(rng.normal(0.0, 0.4))),
    )


def nearly_full(design: Design, rng: Rng) -> Design:
    """Return the design with so much water that one more well is too many, and a dump valve that still copes."""
    load = water_volume_m3(design) / (float(rng.uniform(1.35, 1.8)) * design.water_minutes) * 1440.0 / BARREL
    oil = min(design.oil_bpd, 0.25 * load)
    return replace(design, water_bpd=float(f"{load:.3g}"), oil_bpd=float(f"{oil:.3g}"), dump_factor=6.0)


def scattered(p: Physics, design: Design, ranges: Ranges, rng: Rng) -> Physics:
    """Return the plant with what differs from vessel to vessel and nobody knows."""
    return replace(
        p,
        trip_scatter_m=design.gap_in * INCH * evenly(ranges.trip_scatter, rng),
        slack=evenly(ranges.slack, rng),
        stroke_s=evenly(ranges.stroke_s, rng),
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
    return design.gas_mcfd * MCF * 3e-6 / float(rng.uniform(4.0, 12.0))
