"""What makes a well's test no good beside its rates: the vessel away, a dump that hangs, gas through the meter."""

from collections.abc import Callable

import numpy as np

from nightgauge.derive.dump_hours import time_above_s
from nightgauge.derive.hours import Hours
from nightgauge.derive.known import pieces
from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import SECOND_US, Floats, Span, Times, inside, joined

_OUT_OF_BAND = 0.25
"""Share of a test that the level may stand above the opening level with the dump shut. House choice: a slug passes in
less, a float that hangs does not."""
_BLOWN = 0.05
"""Share of the metered volume that may pass with the level at or below the closing level. House choice: what closing
levels scatter by is less of a dump, and more would spoil the rate."""
_LEAST_SAG_KPA = 5.0 * 6.894757293168361
"""Fall of the pressure that says gas has left. [kPa] Common practice, no source: 5 psi, beyond what a dump does."""


def fault_between(plant: Plant, hours: Hours, start_us: int, end_us: int) -> str | None:
    """Return what was wrong with dump or meter over a stretch, None if nothing shows."""
    return _hanging(plant, hours, start_us, end_us) or _blow_by(plant, hours, start_us, end_us)


def out_of_service(plant: Plant, start_us: int, end_us: int) -> str | None:
    """Return whether an outage of the vessel shares time with a stretch."""
    outages = (one for one in plant.field.outages if one.vessel == plant.vessel.id)
    if any(to_us(one.from_utc) < end_us and start_us < to_us(one.to_utc) for one in outages):
        return "the vessel was out of service during it"
    return None


def _hanging(plant: Plant, hours: Hours, start_us: int, end_us: int) -> str | None:
    """Return whether the dump stayed shut with the level above where it opens."""
    opens = _trip(plant.dump.opens_at_m, hours.known.opening_level_m, max)
    if plant.interface is None or plant.is_throttling or np.isnan(opens):
        return None
    cut = pieces(plant.interface, _with_trips(hours.open_spans, start_us, end_us))
    if not cut.start_us.size:
        return None
    above = np.where(inside(cut.start_us, hours.open_spans), 0.0, time_above_s(cut, opens))
    share = float(above.sum()) / (float(cut.length_us.sum()) / SECOND_US)
    if share > _OUT_OF_BAND:
        return f"level above the opening level for {share:.0%} of it: the dump did not act"
    return None


def _blow_by(plant: Plant, hours: Hours, start_us: int, end_us: int) -> str | None:
    """Return whether gas may have gone through the water meter: flow at low level, and a pressure that sags meanwhile.

    Without a pressure the flow at low level is enough to doubt the meter.
    """
    closes = _trip(plant.dump.closes_at_m, hours.known.closing_level_m, min)
    if plant.interface is None or plant.water is None or plant.is_throttling or np.isnan(closes):
        return None
    cut = pieces(plant.interface, np.array([start_us, end_us]))
    low = np.maximum(cut.start_value, cut.end_value) <= closes
    starts, ends = joined(cut.start_us[low], cut.end_us[low])
    blown = float(np.nansum(plant.water.through(starts, ends)))
    passed = float(plant.water.after_to_after(np.array([start_us]), np.array([end_us]))[0])
    if not blown > _BLOWN * passed or _holds(plant, (starts, ends), start_us, end_us):
        return None
    share = blown / passed
    return f"{share:.0%} of the water metered with the level at or below the closing level: gas may have gone through"


def _holds(plant: Plant, low: Span, start_us: int, end_us: int) -> bool:
    """Return whether the pressure is known to have held while the level was low."""
    track = plant.track("vessel_pressure")
    if track is None:
        return False
    during = (track.time_us >= start_us) & (track.time_us < end_us)
    is_low = during & inside(track.time_us, low)
    if not is_low.any():
        return False
    usual = float(np.median(track.value[during]))
    return float(track.value[is_low].min()) > usual - _LEAST_SAG_KPA


def _trip(setting: float | None, seen: Floats, beyond: Callable[[list[float]], float]) -> float:
    """Return a trip level: as set or as usual here, whichever lies further out; NaN where neither is known.

    A float that trips beside its setting still measures; one that hangs does so more and more, or not at all.
    """
    usual = seen[~np.isnan(seen)]
    levels = [] if setting is None else [setting]
    levels += [float(np.median(usual))] if usual.size else []
    return beyond(levels) if levels else np.nan


def _with_trips(spans: Span, start_us: int, end_us: int) -> Times:
    """Return the edges of a stretch with every opening and shutting in it."""
    return np.unique(np.clip(np.concatenate([[start_us, end_us], *spans]), start_us, end_us))
