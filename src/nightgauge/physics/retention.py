"""How long a liquid stays in a vessel, and how long it should."""

from dataclasses import dataclass
from typing import Generic

import numpy as np

from nightgauge.physics.geometry import Shell
from nightgauge.physics.numbers import Floats, Values, as_floats, plain

_MINUTES_PER_DAY = 1440.0


@dataclass(frozen=True)
class Band(Generic[Values]):
    """A published range: what is required, and what is shown beside it."""

    lower: Values
    upper: Values


@dataclass(frozen=True)
class RetentionRow:
    """Required retention of the heavier oils from a temperature up."""

    from_temperature_c: float
    lower_min: float
    upper_min: float


@dataclass(frozen=True)
class RetentionTable:
    """Required retention of each liquid without a bottle test.

    Oils lighter than `light_above_degapi` have one band; for the others each row is valid from its temperature
    up to the next row's. Below the coldest row that row stays: it is then a lower bound.
    """

    source: str
    light_above_degapi: float
    light: Band[float]
    rows: tuple[RetentionRow, ...]
    """Coldest first."""


THREE_PHASE = RetentionTable(
    source="API Spec 12J, liquid capacity of three-phase separators (annex C); the same rows in GPSA section 7",
    light_above_degapi=35.0,
    light=Band(3.0, 5.0),
    rows=(
        RetentionRow((60.0 - 32.0) / 1.8, 20.0, 30.0),
        RetentionRow((80.0 - 32.0) / 1.8, 10.0, 20.0),
        RetentionRow((100.0 - 32.0) / 1.8, 5.0, 10.0),
    ),
)
"""The published table. The rows were written from secondary copies; confirm them with your own copy of the standard.

The standard lists single temperatures and says nothing of an oil of just 35 degAPI. Filled in here on the safe, longer
side: between listed temperatures the colder row holds, and 35 degAPI counts as not above 35.
"""

_AT_THE_EDGE_C = 1e-9  # 60, 80 and 100 degF are not exact in degC; a reading of exactly 100 degF belongs to its row


def required_retention_min(
    oil_gravity_degapi: float, temperature_c: Values, table: RetentionTable = THREE_PHASE
) -> Band[Values]:
    """Return the retention time a table asks of each liquid.

    Parameters
    ----------
    oil_gravity_degapi : float
        Gravity of the oil. [degAPI]
    temperature_c : float or array
        Of the liquids in the vessel; NaN gives NaN unless the oil is light. [degC]
    table : RetentionTable
        The published table unless replaced.

    Returns
    -------
    Band
        `lower` is what is required, `upper` the end of the band. [min]

    Examples
    --------
    An oil of 27 degAPI at 95 degF:

    >>> required_retention_min(27.0, 35.0)
    Band(lower=10.0, upper=20.0)

    """
    (temperature,) = as_floats(temperature_c)
    if oil_gravity_degapi > table.light_above_degapi:
        lower, upper = np.full_like(temperature, table.light.lower), np.full_like(temperature, table.light.upper)
    else:
        starts = np.array([row.from_temperature_c for row in table.rows]) - _AT_THE_EDGE_C
        chosen = np.maximum(np.searchsorted(starts, temperature, side="right") - 1, 0)
        unknown = np.isnan(temperature)
        lower = np.where(unknown, np.nan, np.array([row.lower_min for row in table.rows])[chosen])
        upper = np.where(unknown, np.nan, np.array([row.upper_min for row in table.rows])[chosen])
    return Band(plain(lower, temperature_c), plain(upper, temperature_c))


def required_min(bottle_test_min: float | None, oil_gravity_degapi: float | None, temperature_c: Values) -> Values:
    """Return the retention time required of a liquid: by bottle test, else the lower end of the published table.

    Parameters
    ----------
    bottle_test_min : float, optional
        What a bottle test of these liquids asks. [min]
    oil_gravity_degapi : float, optional
        Gravity of the oil, for the table. [degAPI]
    temperature_c : float or array
        Of the liquids in the vessel. [degC]

    Returns
    -------
    float or array
        Of the shape of the temperature; NaN where neither tells it. [min]

    Examples
    --------
    >>> required_min(8.0, 27.0, 35.0), required_min(None, 27.0, 35.0), required_min(None, None, 35.0)
    (8.0, 10.0, nan)

    """
    if bottle_test_min is None and oil_gravity_degapi is not None:
        return required_retention_min(oil_gravity_degapi, temperature_c).lower
    (temperature,) = as_floats(temperature_c)
    return plain(np.full_like(temperature, np.nan if bottle_test_min is None else bottle_test_min), temperature_c)


def effective_volume_m3(
    shell: Shell,
    lower_level_m: Values,
    upper_level_m: Values,
    settling_length_m: float | None = None,
    solids_depth_m: float | None = None,
) -> Values:
    """Return the volume between two levels in which a liquid really settles.

    Parameters
    ----------
    shell : Shell
        The vessel.
    lower_level_m : float or array
        0 for the water, the interface for the oil. [m]
    upper_level_m : float or array
        The interface for the water, the oil level for the oil. [m]
    settling_length_m : float, optional
        Length of the straight shell that counts; without it the whole vessel counts, both heads included. [m]
    solids_depth_m : float, optional
        Depth of solids on the bottom; what lies below it holds no liquid. [m]

    Returns
    -------
    float or array
        Volume, never below 0; NaN where a level is NaN. [m3]

    Notes
    -----
    `V(upper) - V(max(lower, solids))`. In a vertical vessel the straight shell counts from its bottom seam up.

    Examples
    --------
    Water up to 3 ft, oil up to 6 ft, in 10 ft by 30 ft: 115.96 bbl and 177.16 bbl.

    >>> vessel = Shell(3.048, 9.144, "2:1 ellipsoidal", "horizontal")
    >>> round(effective_volume_m3(vessel, 0.0, 0.9144) / 0.158987294928, 4)
    115.9576
    >>> round(effective_volume_m3(vessel, 0.9144, 1.8288) / 0.158987294928, 4)
    177.1596

    """
    lower, upper = as_floats(lower_level_m, upper_level_m)
    floor = np.maximum(lower, 0.0 if solids_depth_m is None else solids_depth_m)
    if settling_length_m is None:
        between = np.asarray(shell.volume_m3(upper)) - np.asarray(shell.volume_m3(floor))
    else:
        between = _straight_volume_m3(shell, settling_length_m, upper) - _straight_volume_m3(
            shell, settling_length_m, floor
        )
    return plain(np.maximum(between, 0.0), upper_level_m)


def _straight_volume_m3(shell: Shell, length_m: float, level_m: Floats) -> Floats:
    """Return the volume below a level within a length of the straight shell, without heads."""
    straight = Shell(shell.inside_diameter_m, length_m, "flat", shell.orientation)
    bottom_seam_m = 0.0 if shell.orientation == "horizontal" else shell.head_depth_m
    return np.asarray(straight.volume_m3(level_m - bottom_seam_m))


def retention_min(volume_m3: Values, rate_m3_per_day: float | Floats) -> Values:
    """Return how long a liquid stays, `t = 1440 V / Q`.

    Parameters
    ----------
    volume_m3 : float or array
        Volume the liquid takes up. [m3]
    rate_m3_per_day : float or array
        Inflow of that liquid. [m3/day]

    Returns
    -------
    float or array
        Time; NaN where the inflow is not above 0, since then nothing passes through. [min]

    Examples
    --------
    A 10 ft by 30 ft vessel half full of water at 5000 bbl/day:

    >>> round(retention_min(233.142312, 5000.0), 5)
    67.14499

    """
    volume, rate = as_floats(volume_m3, rate_m3_per_day)
    return plain(_MINUTES_PER_DAY * volume / np.where(rate > 0.0, rate, np.nan), volume_m3)


def liquid_capacity_m3_per_day(volume_m3: Values, required_min: float | Floats) -> Values:
    """Return the inflow at which retention is just what is required, `Q = 1440 V / t`.

    Parameters
    ----------
    volume_m3 : float or array
        Volume the liquid takes up. [m3]
    required_min : float or array
        Required retention, > 0. [min]

    Returns
    -------
    float or array
        Inflow. [m3/day]

    Examples
    --------
    >>> round(liquid_capacity_m3_per_day(233.142312, 10.0), 3)
    33572.493

    """
    volume, required = as_floats(volume_m3, required_min)
    return plain(_MINUTES_PER_DAY * volume / required, volume_m3)
