"""Which instruments a vessel has, and how good they are."""

from dataclasses import dataclass

import numpy as np

from nightgauge.simulate.design import Design
from nightgauge.simulate.plan import HOUR_S, Instrument

LEVEL, METER, SWITCH, PRESSURE = "interface_level", "water_total", "water_dump_open", "vessel_pressure"

SUITES: dict[str, tuple[str, ...]] = {
    "full": (
        PRESSURE, "inlet_pressure", "water_downstream_pressure", LEVEL, "oil_level", SWITCH, METER, "oil_total",
        "gas_rate", "oil_water_cut", "water_oil_content", "temperature", "scrubber_level", "scrubber_dump_open",
    ),
    "metered": (PRESSURE, "inlet_pressure", LEVEL, METER, "oil_total", "gas_rate", "temperature"),
    "rates": (PRESSURE, LEVEL, "water_rate", "oil_rate", "gas_rate", "oil_water_cut"),
    "switched": (PRESSURE, "inlet_pressure", LEVEL, SWITCH, "scrubber_dump_open"),
    "level and pressure": (PRESSURE, LEVEL),
    "level only": (LEVEL,),
    "meter and pressure": (PRESSURE, METER, "oil_total"),
    "meter only": (METER,),
    "switch and pressure": (PRESSURE, "inlet_pressure", SWITCH),
    "switch only": (SWITCH,),
    "pressure only": (PRESSURE, "inlet_pressure"),
}  # fmt: skip
"""Mixtures that fields have, from everything to next to nothing."""

_LETTERS = {
    "vessel_pressure": "PIT-{n}", "inlet_pressure": "PIT-{n}H", "water_downstream_pressure": "PIT-{n}W",
    "oil_downstream_pressure": "PIT-{n}C", "interface_level": "LIT-{n}A", "oil_level": "LIT-{n}B",
    "water_dump_open": "ZSO-{n}W", "water_dump_position": "ZT-{n}W", "water_rate": "FIT-{n}W",
    "oil_rate": "FIT-{n}C", "water_total": "FQI-{n}W", "oil_total": "FQI-{n}C", "gas_rate": "FIT-{n}G",
    "oil_water_cut": "AIT-{n}C", "water_oil_content": "AIT-{n}W", "temperature": "TIT-{n}",
    "scrubber_level": "LIT-{n}S", "scrubber_dump_open": "ZSO-{n}S", "well_on_test": "XI-{n}T",
}  # fmt: skip
"""ISA-5.1 letters: first the measured variable, then what is done with it. W water, C crude, G gas, S scrubber."""


@dataclass(frozen=True)
class Quality:
    """How good a vessel's instruments are, drawn once per vessel."""

    scan_s: float = 10.0
    noise: float = 1.0
    """Times the usual noise."""
    band: float = 1.0
    """Times the usual dead band."""
    max_interval_s: float = 1200.0
    texts: bool = True
    """Whether the historian keeps states as words."""


# signal: unit, noise, dead band, resolution. Noise of common transmitters; common practice, no source.
_ANALOGUES: dict[str, tuple[str, float, float, float]] = {
    "vessel_pressure": ("psig", 0.08, 0.25, 0.01),
    "inlet_pressure": ("psig", 0.10, 0.35, 0.01),
    "water_downstream_pressure": ("psig", 0.10, 0.40, 0.01),
    "oil_downstream_pressure": ("psig", 0.10, 0.40, 0.01),
    "interface_level": ("in", 0.05, 0.20, 0.01),
    "oil_level": ("in", 0.05, 0.30, 0.01),
    "water_dump_position": ("%", 0.2, 1.0, 0.1),
    "oil_water_cut": ("%", 0.06, 0.25, 0.01),
    "water_oil_content": ("mg/L", 3.0, 12.0, 1.0),
    "temperature": ("degF", 0.1, 0.4, 0.1),
    "scrubber_level": ("in", 0.08, 0.4, 0.01),
}
_RATE_NOISE, _RATE_BAND = 0.004, 0.015  # of the rate at rest of the vessel's flow; turbine and orifice meters


def instrument(signal: str, design: Design, number: str, quality: Quality) -> Instrument:
    """Return one instrument of a vessel."""
    tag = _LETTERS[signal].format(n=number)
    if signal in ("water_dump_open", "scrubber_dump_open"):
        words = ("CLOSED", "OPEN") if quality.texts else None
        fast = min(quality.scan_s, 10.0)
        return Instrument(signal, tag, "", scan_s=fast, dead_band=0.5, max_interval_s=8 * HOUR_S, states=words)
    if signal == "well_on_test":
        return Instrument(signal, tag, "", scan_s=60.0, dead_band=0.5, max_interval_s=12 * HOUR_S)
    if signal.endswith("total"):
        daily = design.water_bpd if signal == "water_total" else design.oil_bpd
        pulse = _round_pulse(daily * (0.0002 if design.action == "snap" else 0.0004) * quality.band)
        return Instrument(
            signal, tag, "bbl", quality.scan_s, dead_band=0.5 * pulse, max_interval_s=2 * HOUR_S, pulse=pulse
        )
    if signal.endswith("rate"):
        unit = "Mcf/d" if signal == "gas_rate" else "bbl/day"
        full = {"gas_rate": design.gas_mcfd, "water_rate": design.water_bpd}.get(signal, design.oil_bpd)
        full *= design.dump_factor if signal == "water_rate" and design.action == "snap" else 1.0
        noise, band, resolution = full * _RATE_NOISE * quality.noise, full * _RATE_BAND * quality.band, 0.1
    else:
        unit, noise, band, resolution = _ANALOGUES[signal]
        noise, band = noise * quality.noise, band * quality.band
    return Instrument(signal, tag, unit, quality.scan_s, noise, band, quality.max_interval_s, resolution)


def _round_pulse(volume: float) -> float:
    """Return the pulse a maker offers: 1, 2 or 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(volume))
    steps = np.array([1.0, 2.0, 5.0])
    return float(f"{steps[np.abs(np.log(volume / power / steps)).argmin()] * power:g}")
