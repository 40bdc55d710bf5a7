"""The days already derived: the loads and pressures that are a vessel's reference."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from nightgauge.derive.spans import Floats

_REFERENCE_DAYS = 14
"""Judged days that make the reference. House choice: two weeks hold the days and week-ends of a field's routine."""
_KEPT = (
    "oil_load_m3_per_day", "water_load_m3_per_day", "gas_m3", "oil_hold_kpag", "gas_clip_kpag",
    "oil_droop_kpa_per_m3_per_day", "gas_droop_kpa_per_m3_per_day",
)  # fmt: skip


@dataclass(frozen=True)
class Past:
    """Days of one vessel before the day at hand, earliest first."""

    columns: Mapping[str, Floats]

    @staticmethod
    def of(days: pl.DataFrame) -> "Past":
        """Return the past that VESSEL_DAYS hold."""
        ordered = days.sort("day")
        values = ordered.select(pl.col(_KEPT).cast(pl.Float64)).to_numpy()
        return Past({name: values[:, place] for place, name in enumerate(_KEPT)})

    def and_then(self, day: Mapping[str, object]) -> "Past":
        """Return the past with one more day."""
        return Past({name: np.append(self.columns[name], _number(day.get(name))) for name in _KEPT})

    def reference(self, name: str, today: float = np.nan) -> float:
        """Return the median of the first judged days, today among them as long as there are not enough; NaN if none."""
        values = np.append(self.columns[name], today)
        judged = values[~np.isnan(values)][:_REFERENCE_DAYS]
        return float(np.median(judged)) if judged.size else float("nan")


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else float("nan")
