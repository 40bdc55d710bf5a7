"""Does water come in? What other signals say of it while the dump is silent.

Used to tell a stuck float from wells that are shut in: a shut-in vessel has a sagging pressure, and gas, oil
and a header without flow.
"""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.history import Floats, History
from nightgauge.detect.past import median, quantile

OIL_METERS = ("oil_total", "oil_rate")
_RECENT_H = 5 * 24
"""Hours that tell the usual friction: recent, as a drifting transmitter moves it slowly. House choice."""


@dataclass(frozen=True)
class Inflow:
    """What the signals say of the wells over a span of time."""

    pressure_share: float
    """Pressure against the held pressure, both gauge; NaN if not known."""
    flow_share: float
    """Gas, oil or line flow against its past, the least of those known; NaN if none is."""
    is_falling: bool
    """Whether pressure is bleeding down over the span."""

    def comes_in(self, held_share: float, flow_share: float = 0.35) -> bool | None:
        """Return whether wells produce; None where nothing tells."""
        if np.isfinite(self.flow_share):
            return self.flow_share >= flow_share and not self.pressure_share < 0.8
        if np.isfinite(self.pressure_share):
            return self.pressure_share >= held_share and not self.is_falling
        return None


def _by_friction(history: History, here: slice, before: slice) -> list[float]:
    """Return the flow in the line from header to vessel against its past, from the root of its friction."""
    loss = history.mean("inlet_pressure") - history.mean("vessel_pressure")
    usual, now = median(loss[before]), median(loss[here])
    if not (usual > 0 and np.isfinite(now)):
        return []
    return [float(np.sqrt(max(now, 0.0) / usual))]


def flow_hours(history: History, signal: str) -> Floats:
    """Return a meter's hourly flow: a totaliser's count or a rate's mean, NaN where the hour is not known."""
    return history.once(f"flow {signal}", lambda: _flow_hours(history, signal))


def _flow_hours(history: History, signal: str) -> Floats:
    if signal.endswith("_total"):
        share = history.signal(signal, "coverage")
        return np.where(share >= 0.5, history.signal(signal, "net_change") / np.maximum(share, 0.5), np.nan)
    return history.mean(signal)


def inflow_over(history: History, begin_s: float, end_s: float) -> Inflow:
    """Return what the signals say of the wells from begin to end. [s since 1970]"""
    span = history.hours_between(begin_s, end_s)
    # The first and last hour hold the end of normal work; leave them out where the span is long enough.
    inner = slice(span.start + 1, span.stop - 1) if span.stop - span.start > 4 else span
    before = slice(max(0, span.start - 14 * 24), span.start)
    pressure = history.mean("vessel_pressure")
    held = median(pressure[before])
    here = pressure[inner]
    share = median(here) / held if held > 0 else float("nan")
    known = here[np.isfinite(here)]
    is_falling = bool(len(known) >= 3 and known[-1] < 0.93 * known[0] and np.mean(np.diff(known) <= 0) > 0.8)
    flows = []
    for signal in ("gas_rate", *OIL_METERS):
        flow = flow_hours(history, signal)
        usual = quantile(flow[before], 0.5)
        if usual > 0 and inner.stop > inner.start and np.isfinite(flow[inner]).mean() >= 0.5:
            flows.append(float(np.nanmean(flow[inner])) / usual)
    flows += _by_friction(history, inner, slice(max(0, span.start - _RECENT_H), span.start))
    return Inflow(share, min(flows) if flows else float("nan"), is_falling)
