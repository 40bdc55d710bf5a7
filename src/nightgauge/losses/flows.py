"""Which wells flow to a vessel on which share of each day: by their normal way and by the header's routing."""

from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from nightgauge.field.settings import Field, Well
from nightgauge.losses.hours import bounds_of

Shares = NDArray[np.float64]


def shares_by_well(vessel: str, field: Field, days: Sequence[date]) -> dict[Well, Shares]:
    """Return for each well that flows to a vessel the share of each day in which it does.

    Parameters
    ----------
    vessel : str
        Vessel id.
    field : Field
        With wells and routings. A well flows where its last routing says, before its first one where its
        `vessel` says; time on test counts only where the routing tells it.
    days : sequence of date, (n,)
        Days of the field.

    Returns
    -------
    dict of Well to (n,) array
        Shares of the day's own 23, 24 or 25 hours, 0..1; in the order of field.toml, without wells that never do.

    """
    bounds = bounds_of(days, field.zone)
    edges = (_seconds([start for start, _ in bounds]), _seconds([end for _, end in bounds]))
    routed = {one.well for one in field.routings if one.vessel == vessel}
    may = [well for well in field.wells if well.vessel == vessel or well.id in routed]
    shares = {well: _shares(vessel, well, field, edges) for well in may}
    return {well: share for well, share in shares.items() if np.any(share > 0.0)}


def _seconds(times: Sequence[datetime]) -> Shares:
    return np.array([time.astimezone(UTC).timestamp() for time in times], dtype=np.float64)


def _shares(vessel: str, well: Well, field: Field, edges: tuple[Shares, Shares]) -> Shares:
    start, end = edges
    turns = sorted((one for one in field.routings if one.well == well.id), key=lambda one: one.at_utc)
    ways = (well.vessel, *(one.vessel for one in turns))
    begins = np.concatenate([[-np.inf], _seconds([one.at_utc for one in turns])])
    stops = np.append(begins[1:], np.inf)
    there = np.zeros(start.size)
    for way, begin, stop in zip(ways, begins, stops, strict=True):
        if way == vessel:
            there += np.maximum(np.minimum(end, stop) - np.maximum(start, begin), 0.0)
    return there / (end - start)


class WaterCuts:
    """The water cuts that accepted tests tell, by well: made once for all vessels.

    Parameters
    ----------
    tests : WELL_TESTS
        Of any wells.

    """

    def __init__(self, tests: pl.DataFrame) -> None:
        told = tests.filter((pl.col("state") == "accepted") & pl.col("water_cut_fraction").is_not_null())
        parts = told.sort("end_utc", maintain_order=True).partition_by("well", as_dict=True, maintain_order=True)
        self._told = {
            str(key[0]): (part["end_utc"].cast(pl.Int64).to_numpy() / 1e6, part["water_cut_fraction"].to_numpy())
            for key, part in parts.items()
        }

    def at(self, well: Well, starts: Sequence[datetime]) -> Shares:
        """Return a well's water cut by its latest accepted test that had ended at each time, else by its setting.

        Parameters
        ----------
        well : Well
            With `water_cut_fraction` or without.
        starts : sequence of datetime, (n,)
            Times.

        Returns
        -------
        (n,) array
            Water cut, NaN where neither tells it. [1]

        """
        setting = np.nan if well.water_cut_fraction is None else well.water_cut_fraction
        ends, told = self._told.get(well.id, (np.empty(0), np.empty(0)))
        cuts = np.concatenate([[setting], told])
        return np.asarray(cuts[np.searchsorted(ends, _seconds(starts), side="right")])
