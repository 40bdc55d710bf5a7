"""From a design, as an engineer would write it down, to settings, physics and wells of one vessel."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import BackPressureValve, Heads, Service, Vessel, WaterDump, Well
from nightgauge.physics.geometry import Shell, shell
from nightgauge.simulate.plan import Physics, Slugs, WellPlan
from nightgauge.units import STANDARD_ATMOSPHERE_KPA

FOOT, INCH = 0.3048, 0.0254
PSI = 6.894757293168361
BARREL = 0.158987294928
MCF = 28.316846592
GPM_PER_M3_DAY = 1.0 / (0.003785411784 * 1440.0)

Regime = Literal["oil", "both", "gas"]
"""Which spring holds the pressure: the oil valve (little gas), both in turn, the gas valve (much gas)."""

# Gas against what the oil valve passes beside the oil when half to wholly open. House choice: makes the three regimes.
_GAS_LOAD: dict[Regime, float] = {"oil": 0.4, "both": 0.97, "gas": 2.5}


@dataclass(frozen=True)
class Design:
    """One vessel in the trade's units; what is not given follows from the rest."""

    id: str
    name: str | None = None
    service: Service = "free-water knockout"
    orientation: Literal["horizontal", "vertical"] = "horizontal"
    diameter_ft: float = 8.0
    length_ft: float = 20.0
    heads: Heads = "2:1 ellipsoidal"
    interface_in: float = 44.0
    oil_level_in: float = 66.0
    action: Literal["snap", "throttling"] = "snap"
    gap_in: float = 4.0
    water_bpd: float = 3000.0
    oil_bpd: float = 400.0
    gas_mcfd: float = 60.0
    dump_factor: float = 5.0
    """Dump flow over the mean water inflow."""
    oil_psig: float = 45.0
    margin_psi: float = 4.0
    water_drop_psi: float = 30.0
    oil_droop_psi: float = 1.5
    gas_droop_psi: float = 1.5
    sag_psi: float = 2.0
    """Fall of the pressure when a dump's volume leaves."""
    regime: Regime = "oil"
    water_minutes: float = 10.0
    oil_minutes: float = 15.0
    oil_api: float = 27.0
    water_gravity: float = 1.05
    temperature_f: float = 105.0
    settling_length_ft: float | None = None
    mist_extractor: bool = True
    working_psig: float = 125.0
    shifts: tuple[float, float] = (0.0, 0.0)
    """How far what is stands from what was written: float marks [in], springs [psi]."""
    atmosphere_psi: float = 12.3


def design_shell(design: Design) -> Shell:
    """Return the inside of the vessel."""
    found = shell(design.diameter_ft * FOOT, design.length_ft * FOOT, design.heads, design.orientation)
    if found is None:
        raise ProgrammerError(f"design of {design.id} has no dimensions")
    return found


def water_volume_m3(design: Design) -> float:
    """Return the water at the normal interface that counts for retention."""
    inside = design_shell(design)
    level = design.interface_in * INCH
    if design.settling_length_ft is None:
        return float(inside.volume_m3(level))
    straight = shell(design.diameter_ft * FOOT, design.settling_length_ft * FOOT, "flat", design.orientation)
    return float(straight.volume_m3(level)) if straight else 0.0


def settings(design: Design) -> Vessel:
    """Return what the people of the vessel wrote down."""
    d = design
    return Vessel(
        id=d.id,
        name=d.name,
        service=d.service,
        orientation=d.orientation,
        inside_diameter_m=d.diameter_ft * FOOT,
        length_m=d.length_ft * FOOT,
        heads=d.heads,
        normal_interface_m=d.interface_in * INCH,
        normal_oil_level_m=d.oil_level_in * INCH,
        max_working_pressure_kpag=d.working_psig * PSI,
        mist_extractor=d.mist_extractor,
        baffle_at_m=0.5 * d.length_ft * FOOT if d.orientation == "horizontal" else None,
        settling_length_m=None if d.settling_length_ft is None else d.settling_length_ft * FOOT,
        oil_gravity_degapi=d.oil_api,
        water_specific_gravity=d.water_gravity,
        gas_specific_gravity=0.75,
        temperature_c=(d.temperature_f - 32.0) / 1.8,
        required_water_retention_min=d.water_minutes,
        required_oil_retention_min=d.oil_minutes,
        water_dump=(_dump(d),),
        oil_valve=(BackPressureValve(holds_kpag=d.oil_psig * PSI, kind="spring"),),
        gas_valve=(BackPressureValve(holds_kpag=(d.oil_psig + d.margin_psi) * PSI, kind="spring"),),
    )


def rated_cv(design: Design) -> float:
    """Return a dump valve that passes the design's factor times the water inflow, rounded as makers do."""
    flow_gpm = design.dump_factor * design.water_bpd * BARREL * GPM_PER_M3_DAY
    return float(f"{flow_gpm / np.sqrt(design.water_drop_psi / design.water_gravity):.2g}")


def _dump(d: Design) -> WaterDump:
    down = (d.oil_psig - d.water_drop_psi) * PSI
    cv = rated_cv(d)
    if d.action == "throttling":
        return WaterDump("throttling", None, None, d.interface_in * INCH, d.gap_in * INCH, cv, down, 0.0)
    half = 0.5 * d.gap_in
    opens, closes = (d.interface_in + half) * INCH, (d.interface_in - half) * INCH
    return WaterDump("snap", opens, closes, None, None, cv, down, 0.0)


def physics(design: Design) -> Physics:
    """Return the plant of a design, before a fleet scatters it."""
    d = design
    inside = design_shell(d)
    middle = (d.interface_in + d.shifts[0]) * INCH
    opens, closes = middle + 0.5 * d.gap_in * INCH, middle - 0.5 * d.gap_in * INCH
    absolute = (d.oil_psig + d.atmosphere_psi) * PSI
    water, oil = d.water_bpd * BARREL, d.oil_bpd * BARREL
    gas_actual = d.gas_mcfd * MCF * STANDARD_ATMOSPHERE_KPA / absolute
    # A snap dump's refill pushes oil out at the whole inflow, and a stuck float sends the water that way too.
    oil_capacity = (1.6 if d.action == "snap" else 1.2) * (water + oil)
    dumped = float(inside.volume_m3(opens)) - float(inside.volume_m3(closes))
    gas_space = inside.total_volume_m3 - float(inside.volume_m3(d.oil_level_in * INCH))
    pack = max(absolute * dumped / (d.sag_psi * PSI) - gas_space, 4.0) if d.action == "snap" else 8.0
    oil_holds = (d.oil_psig + d.shifts[1]) * PSI
    return Physics(
        opens_at_m=opens,
        closes_at_m=closes,
        cv=rated_cv(d),
        nozzle_m=0.08 * inside.height_m,
        water_downstream_kpag=(d.oil_psig - d.water_drop_psi) * PSI,
        oil_holds_kpag=oil_holds,
        oil_droop_kpa=d.oil_droop_psi * PSI,
        oil_capacity_m3_per_day=oil_capacity,
        oil_gas_ratio=gas_actual / (_GAS_LOAD[d.regime] * oil_capacity),
        gas_holds_kpag=oil_holds + d.margin_psi * PSI,
        gas_droop_kpa=d.gas_droop_psi * PSI,
        gas_capacity_m3_per_day=4.0 * gas_actual,
        line_pack_m3=pack,
        full_inflow_m3_per_day=water + oil,
        cut_minutes=d.oil_minutes,
        oil_in_water_minutes=d.water_minutes,
        temperature_c=(d.temperature_f - 32.0) / 1.8,
        atmosphere_kpa=d.atmosphere_psi * PSI,
    )


_STEADY = Slugs()


def wells(design: Design, shares: tuple[float, ...], prefix: str, slugs: Slugs = _STEADY) -> tuple[WellPlan, ...]:
    """Return wells that make the design's inflow between them."""
    total = sum(shares)
    return tuple(
        WellPlan(
            Well(f"{prefix}{number + 1}", design.id, "ESP", round(2.0 + 10.0 * share / total, 1) * BARREL / PSI),
            water_m3_per_day=design.water_bpd * BARREL * share / total,
            oil_m3_per_day=design.oil_bpd * BARREL * share / total,
            gas_m3_per_day=design.gas_mcfd * MCF * share / total,
            slugs=replace(slugs, period_s=slugs.period_s * (1.0 + 0.37 * number)),
        )
        for number, share in enumerate(shares)
    )
