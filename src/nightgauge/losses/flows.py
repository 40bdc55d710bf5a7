"""Which wells flow to a vessel on which share of each day: by their normal way and by the header's routing."""

from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from nightgauge.field.calendar import day_bounds
from nightgauge.field.settings import Field, Well

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
    bounds = [day_bounds(field.zone, day) for day in days]
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


def water_cuts(well: Well, tests: pl.DataFrame, starts: Sequence[datetime]) -> Shares:
    """Return a well's water cut by its latest accepted test that had ended at each time, else by its setting.

    Parameters
    ----------
    well : Well
        With `water_cut_fraction` or without.
    tests : WELL_TESTS
        Of any wells.
    starts : sequence of datetime, (n,)
        Times.

    Returns
    -------
    (n,) array
        Water cut, NaN where neither tells it. [1]

    """
    setting = np.nan if well.water_cut_fraction is None else well.water_cut_fraction
    told = tests.filter(
        (pl.col("well") == well.id) & (pl.col("state") == "accepted") & pl.col("water_cut_fraction").is_not_null()
    ).sort("end_utc", maintain_order=True)
    ends = told["end_utc"].dt.epoch("us").to_numpy() / 1e6
    cuts = np.concatenate([[setting], told["water_cut_fraction"].to_numpy()])
    return np.asarray(cuts[np.searchsorted(ends, _seconds(starts), side="right")])
