"""The pressure that the oil valve holds and the one at which the gas valve clips, with the load taken out."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from nightgauge.derive.hours import Hours
from nightgauge.derive.plant import Plant


@dataclass(frozen=True)
class Held:
    """Columns `oil_hold_kpag` and `gas_clip_kpag` for the hours and for the day."""

    hours: dict[str, pl.Series]
    day: dict[str, float | None]


def held_pressures(plant: Plant, hours: Hours, earlier: pl.DataFrame) -> Held:
    """Return the pressures held on the plant's day."""
    median = hours.cuts.median("vessel_pressure")
    some = median[~np.isnan(median)]
    return Held(
        {"oil_hold_kpag": pl.Series(median).fill_nan(None)},
        {"oil_hold_kpag": float(np.median(some)) if some.size else None},
    )
