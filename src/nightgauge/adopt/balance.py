"""Which units a level and the meter behind it have, by the mass balance in vessels whose inside is known.

What the interface falls in a dump is what the meter counts, less what comes in meanwhile. So the change of the water
under the interface goes against the counts one to one, where both have the units that they are taken for.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from nightgauge.adopt.readings import Floats, Readings, minutes_of
from nightgauge.physics.geometry import Shell
from nightgauge.units import conversion
from nightgauge.vocabulary.signals import SIGNALS

_LEVELS, _METERS = ("in", "ft", "m", "mm"), ("bbl", "m3", "gal", "L")
"""Usual ones. Not centimetres: a level in them looks like inches beside a meter that counts 2.5 times too little."""
_BLOCK_MIN = 5
"""Level and counts are compared over so long: scans of two tags do not fall on the same second, and a dump takes a few
minutes. House choice. [min]"""
_BASE = 72
"""Blocks over which the mean change is taken out, which is the inflow: six hours. House choice."""
_FEWEST = 200
"""Blocks that a balance needs: less than a day shows few dumps. House choice."""
_NEAR = 1.6
"""A balance holds within this factor: inflow in the dump, dead bands and meters leave it a third off, while the units
of one system lie further apart than 2.5. House choice."""
_HIGHEST, _LOWEST = 0.98, 0.1
"""A level usually stands between these shares of the height. Common practice, no source."""
_LEAST_BOND = 0.5
"""Correlation of the two from which there is a balance at all. House choice."""


@dataclass(frozen=True)
class Balance:
    """Units of a level and its meter, and how well they balance."""

    level_unit: str
    meter_unit: str
    ratio: float
    """Volume that the level tells over volume that the meter tells."""


def balance_of(readings: Readings, level: int, meter: int, shell: Shell) -> Balance | None:
    """Return the units in which level and meter balance; None where they do in none, or hardly move together.

    Parameters
    ----------
    readings : Readings
        The raw samples.
    level, meter : int
        Places of the interface level and the water totaliser.
    shell : Shell
        The vessel's inside.

    """
    count = int((readings.latest_s - float(readings.samples["time_s"].min())) / 60.0) + 1  # type: ignore[arg-type]
    minutes = minutes_of(readings, (level, meter), readings.latest_s - 60.0 * (count - 1), count).last
    counted = _per_block(np.maximum(np.diff(minutes[1]), 0.0))  # a roll-over or reset counts nothing
    held = minutes[0][::_BLOCK_MIN][: len(counted) + 1]
    best: Balance | None = None
    for level_unit, meter_unit in product(_LEVELS, _METERS):
        level_m = held * conversion(level_unit, "length").factor
        low, high = np.nanquantile(level_m, (0.02, 0.98))
        if high > _HIGHEST * shell.height_m or low < _LOWEST * shell.height_m:
            continue
        change_m3 = np.diff(np.asarray(shell.volume_m3(level_m)))
        ratio = _ratio(change_m3, counted[: len(change_m3)] * conversion(meter_unit, "volume").factor)
        found = Balance(level_unit, meter_unit, ratio) if ratio is not None else None
        if found and (best is None or abs(np.log(found.ratio)) < abs(np.log(best.ratio))):
            best = found
    return best if best is not None and 1.0 / _NEAR < best.ratio < _NEAR else None


def _per_block(values: Floats) -> Floats:
    return np.asarray(values[: values.size // _BLOCK_MIN * _BLOCK_MIN].reshape(-1, _BLOCK_MIN).sum(axis=1))


def _ratio(change_m3: Floats, counted_m3: Floats) -> float | None:
    """Return by how much the water under the interface falls for each cubic metre counted, the inflow left out."""
    known = np.isfinite(change_m3) & np.isfinite(counted_m3)
    change_m3, counted_m3 = change_m3[known], counted_m3[known]
    if change_m3.size < _FEWEST or not counted_m3.any():
        return None
    change_m3, counted_m3 = (one - _running_mean(one) for one in (change_m3, counted_m3))
    spread = float(np.sqrt((change_m3**2).sum() * (counted_m3**2).sum()))
    bond = float((change_m3 * counted_m3).sum()) / max(spread, 1e-12)
    # Both are read with errors, so neither regression is right; the ratio of the spreads lies between them.
    return float(np.sqrt((change_m3**2).sum() / (counted_m3**2).sum())) if bond < -_LEAST_BOND else None


def _running_mean(values: Floats) -> Floats:
    width = min(_BASE, values.size)
    return np.convolve(np.pad(values, width // 2, mode="edge"), np.full(width, 1.0 / width), "same")[
        width // 2 : width // 2 + values.size
    ]


@dataclass(frozen=True)
class Units:
    """Units of tags by their place, and where they come from."""

    units: Mapping[int, str]
    why: Mapping[int, str]
    balances: Mapping[str, Balance]
    """By vessel whose inside is known and whose level and meter balance."""


def balanced_units(readings: Readings, signals: Mapping[str, Mapping[str, int]], shells: Mapping[str, Shell]) -> Units:
    """Return units told by mass balances: in the vessels themselves, and by them in all others of the field.

    Parameters
    ----------
    readings : Readings
        The raw samples.
    signals : mapping
        By vessel: its signals and the places of their tags.
    shells : mapping of str to Shell
        By vessel whose inside somebody has filled in.

    """
    balances: dict[str, Balance] = {}
    for vessel, of in signals.items():
        if vessel in shells and {"interface_level", "water_total"} <= set(of):
            found = balance_of(readings, of["interface_level"], of["water_total"], shells[vessel])
            balances |= {vessel: found} if found else {}
    units: dict[int, str] = {}
    why: dict[int, str] = {}
    for vessel, of in signals.items():
        mine = balances.get(vessel)
        usual = mine or _commonest(balances)
        if usual is None:
            continue
        told = f"unit by its mass balance ({mine.ratio:.2f})" if mine else "unit by the mass balance of other vessels"
        for signal, place in of.items():
            unit = {"length": usual.level_unit, "volume": usual.meter_unit}.get(SIGNALS[signal].dimension)
            if unit and signal != "scrubber_level":
                units[place], why[place] = unit, told
    return Units(units, why, balances)


def _commonest(balances: Mapping[str, Balance]) -> Balance | None:
    pairs = Counter((one.level_unit, one.meter_unit) for one in balances.values())
    if not pairs:
        return None
    (level, meter), _ = pairs.most_common(1)[0]
    return next(one for one in balances.values() if (one.level_unit, one.meter_unit) == (level, meter))
