"""Hours in which the wells produce: only they say where a valve holds or where a level is kept."""

import numpy as np

from nightgauge.detect.history import Floats, History, Mask
from nightgauge.detect.inflow import OIL_METERS, flow_hours
from nightgauge.detect.past import median

_FLOWS = 0.25
"""Share of the usual flow below which wells do not produce: a single well off leaves more of most fields' flow."""
_STEADY_SHARE = 0.8
"""Share of hours in which a meter has to show flow before its silence means anything. House choice."""
_AFTER_START_H = 3
"""Hours after wells come back in which pressure and levels are still on their way. House choice."""
_LONGEST_LOOK_H = 12
"""Hours beyond which a silence of the water is not looked past: a shut-in of a day has to be seen. House choice."""
_DAYS_BEFORE = 5
"""Days before an hour that tell the usual friction of the line: longer than a shut-in, short against a drift."""
_FLAT = 0.25
"""Share of the usual hourly range below which a pressure is flat. House choice."""


def working(history: History) -> Mask:
    """Return the hours in which nothing says that the wells are shut in; see `_working`."""
    return history.once("working", lambda: _working(history))


def _working(history: History) -> Mask:
    """Return the hours in which nothing says that the wells are shut in.

    Gas and oil meters speak first. Without them the water does, by meter or dumps. Without either, a vessel and a
    header pressure that have both gone flat do.
    """
    shut_in = _no_flow(history)
    if shut_in is None:
        shut_in = _first(_flat_pressures(history), _no_friction(history))
        water = _no_water(history)
        # A stuck float stops the water too; then the pressures go on moving.
        shut_in = water if shut_in is None else shut_in
    if shut_in is None:
        shut_in = np.zeros(len(history.hour_s), dtype=bool)
    late = shut_in.copy()
    for lag in range(1, _AFTER_START_H + 1):
        late[lag:] |= shut_in[:-lag]
    return np.asarray(~late)


def _first(one: Mask | None, other: Mask | None) -> Mask | None:
    """Return where either says so, None where neither can speak."""
    if one is None or other is None:
        return other if one is None else one
    return np.asarray(one | other)


def _no_flow(history: History) -> Mask | None:
    """Return the hours without gas and oil, None where no meter of either flows steadily.

    Oil and water gone together are enough, and needed: a shut gas valve may seep at its usual rate while no well
    flows, and oil may stay away for hours while water goes on.
    """
    silent = [quiet for quiet in (_is_quiet(history, s) for s in ("gas_rate", *OIL_METERS)) if quiet is not None]
    if not silent:
        return None
    everything: Mask = np.logical_and.reduce(silent)
    water = _no_water(history)
    if water is None:
        return everything
    oil = [quiet for quiet in (_is_quiet(history, s) for s in OIL_METERS) if quiet is not None]
    # Without an oil meter, gas that stops is enough: a stuck float stops the water too.
    return np.logical_and.reduce([*oil, water]) if oil else everything


def _is_quiet(history: History, signal: str) -> Mask | None:
    """Return the hours in which a meter shows next to nothing, None where it does not flow steadily at all."""
    flow = flow_hours(history, signal)
    known = np.isfinite(flow)
    usual = median(flow)
    if known.sum() < 24 or not usual > 0 or np.mean(flow[known] > _FLOWS * usual) < _STEADY_SHARE:
        return None
    return np.asarray(known & (flow < _FLOWS * usual))


def _no_water(history: History) -> Mask | None:
    """Return the hours without water, by meter or by dumps; None where neither is known."""
    flow = flow_hours(history, history.meter) if history.meter is not None else history.hour("dumps")
    smooth = _over_waits(flow, _wait_hours(history))
    usual = median(smooth)
    if not usual > 0:
        return None
    return np.isfinite(smooth) & (smooth < _FLOWS * usual)


def _wait_hours(history: History) -> int:
    """Return over how many hours water is looked for: three dumps of this vessel, so that it is not idle in between."""
    wait_h = median(np.diff(history.dumps.opened)) / 3600.0 if len(history.dumps) > 1 else 0.0
    return int(np.clip(np.ceil(3.0 * np.nan_to_num(wait_h)), 3, _LONGEST_LOOK_H))


def _over_waits(flow: Floats, hours: int) -> Floats:
    """Return means over some hours about each."""
    known = np.isfinite(flow).astype(float)
    if len(flow) < hours:
        return flow
    sums = np.convolve(np.nan_to_num(flow), np.ones(hours), mode="same")
    counts = np.convolve(known, np.ones(hours), mode="same")
    return np.where(counts > 0, sums / np.maximum(counts, 1.0), np.nan)


def _no_friction(history: History) -> Mask | None:
    """Return the hours in which the line from header to vessel has lost its friction; None without both pressures.

    Against the days before, not against a fixed past: a drifting transmitter moves the difference slowly.
    """
    loss = history.mean("inlet_pressure") - history.mean("vessel_pressure")
    if np.isfinite(loss).sum() < 48:
        return None
    usual = np.full(len(loss), np.nan)
    for stop in range(24, len(loss) + 24, 24):
        usual[stop - 24 : stop] = median(loss[max(0, stop - 24 - _DAYS_BEFORE * 24) : max(1, stop - 24)])
    usual[:24] = median(loss[:48])
    with np.errstate(invalid="ignore"):
        return np.asarray((usual > 0) & (loss < _FLOWS * usual))


def _flat_pressures(history: History) -> Mask | None:
    """Return the hours in which vessel and header pressure are both flat; None without both."""
    flat: Mask | None = None
    for signal in ("vessel_pressure", "inlet_pressure"):
        span = history.signal(signal, "p90") - history.signal(signal, "p10")
        usual = median(span)
        if not usual > 0:
            return None
        # A slow bleed moves a pressure in an hour too, but by far less than slugs and dumps do.
        here = np.isfinite(span) & (span < _FLAT * usual)
        flat = here if flat is None else flat & here
    return flat
