"""What would give more: sentences with numbers, from the limit that is used most."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import polars as pl
from scipy.optimize import brentq

from nightgauge.capacity.limits import Reckoner
from nightgauge.capacity.work import Loads, loads_of, point_of
from nightgauge.field.settings import Field, Vessel
from nightgauge.physics.sizing import held_volume_m3, sizes
from nightgauge.physics.valve import flow_coefficient, flow_m3_per_day

_OPEN_AT_MOST = 0.5
"""Share of the day that a dump valve should be open at the high load: half leaves room for slugs and for wear. Common
practice, no source."""
_WORTH_MOVING = 0.05
"""Share of the use by which an evened interface has to relieve the fuller phase. House choice: less is within what a
float repeats."""
_FEW_SIZES = 3


@dataclass(frozen=True)
class _Case:
    reckoner: Reckoner
    loads: Loads
    tests: pl.DataFrame

    def high(self, phase: str) -> float | None:
        load = self.loads.get(phase)
        return None if load is None else load.high

    def used(self, phase: str, reckoner: Reckoner | None = None) -> float | None:
        """Return the share of a phase's retention limit that the high load takes."""
        at = reckoner or self.reckoner
        volume, required, load = at.volume_m3(phase), at.required_min(phase), self.high(phase)
        if volume is None or required is None or load is None:
            return None
        held = float(held_volume_m3(load, required))
        return held / volume if volume > 0.0 else None


def what_would_give_more(
    vessel: Vessel, field: Field, days: pl.DataFrame, hours: pl.DataFrame, until: datetime, tests: pl.DataFrame
) -> tuple[str, ...]:
    """Return what would give the vessel more room, one sentence each; none where nothing is tight or known.

    Parameters
    ----------
    tests : WELL_TESTS
        Of the field's wells; the latest accepted test of each counts.

    """
    reckoner = Reckoner(vessel, field, point_of(vessel, hours, days, until), until)
    case = _Case(reckoner, loads_of(vessel, field, days, until), tests)
    return (*_interface(case), *_dump(case), *_wells(case), *_vessel(case))


def _interface(case: _Case) -> Iterator[str]:
    """Say where the interface would share the vessel evenly between both liquids."""
    water, oil, surface = case.used("water"), case.used("oil"), case.reckoner.point.oil_level_m
    if water is None or oil is None or surface is None:
        return

    def excess(level: float) -> float:
        at = replace(case.reckoner, point=replace(case.reckoner.point, interface_m=level))
        wet, dry = case.used("water", at), case.used("oil", at)
        return (wet if wet is not None else float("inf")) - (dry if dry is not None else float("inf"))

    low, high = 0.02 * surface, 0.98 * surface
    if not excess(low) > 0.0 > excess(high):
        return
    level = brentq(excess, low, high, xtol=1e-4)
    evened = case.used("water", replace(case.reckoner, point=replace(case.reckoner.point, interface_m=level)))
    if evened is None or max(water, oil) - evened < _WORTH_MOVING:
        return
    said, now = case.reckoner.said, case.reckoner.point.interface_m or 0.0
    way = "up" if level > now else "down"
    yield (
        f"Interface {way} from {said(now, 'length')} to {said(level, 'length')}: water and oil would each use "
        f"{evened:.0%} of their retention, instead of {water:.0%} and {oil:.0%}."
    )


def _dump(case: _Case) -> Iterator[str]:
    """Say what trim would keep the dump open half the day at the high load."""
    load, drop, cv = case.high("water"), case.reckoner.dump_drop_kpa(), case.reckoner.dump.cv
    if load is None or drop is None or cv is None or drop <= 0.0:
        return
    needed = float(flow_coefficient(load / _OPEN_AT_MOST, drop, case.reckoner.water_gravity))
    if needed <= cv:
        return
    said, open_share = case.reckoner.said, load / float(flow_m3_per_day(cv, drop, case.reckoner.water_gravity))
    yield (
        f"A dump trim of Cv {needed:.0f} (now {cv:g}) would be open half the day at {said(load, 'liquid rate')} and "
        f"{said(drop, 'pressure difference')}; now it would be open {open_share:.0%} of it."
    )


def _wells(case: _Case) -> Iterator[str]:
    """Say which well, sent elsewhere, would bring the fuller liquid below its limit with the least moved."""
    tight = max(("water", "oil"), key=lambda phase: case.used(phase) or 0.0)
    used, load = case.used(tight), case.high(tight)
    if used is None or load is None or used <= 1.0:
        return
    surplus = load * (1.0 - 1.0 / used)
    rates = _latest(case, f"{tight}_m3_per_day")
    enough = sorted((rate, well) for well, rate in rates.items() if rate >= surplus)
    said = case.reckoner.said
    short = f"{said(surplus, 'liquid rate')} of {tight} are too much for its retention"
    if enough:
        rate, well = enough[0]
        yield f"{short}: {well} alone, {said(rate, 'liquid rate')} by its latest test, would do if it went elsewhere."
    elif rates:
        yield f"{short}: no single well of it brings as much by its latest test."
    else:
        yield f"{short}; which wells to send elsewhere is not known without their tests."


def _latest(case: _Case, column: str) -> dict[str, float]:
    """Return the rates of the vessel's wells by their latest accepted tests."""
    wells = [well.id for well in case.reckoner.field.wells if well.vessel == case.reckoner.vessel.id]
    accepted = case.tests.filter((pl.col("state") == "accepted") & pl.col("well").is_in(wells))
    last = accepted.drop_nulls(column).sort("start_utc").group_by("well").agg(pl.col(column).last())
    return dict(last.iter_rows())


def _vessel(case: _Case) -> Iterator[str]:
    """Say what size of vessel would hold both liquids as long as required, where this one does not."""
    used = [share for share in (case.used("water"), case.used("oil")) if share is not None]
    orientation = case.reckoner.vessel.orientation
    if not used or max(used) <= 1.0 or orientation is None:
        return
    liquid = sum(
        float(held_volume_m3(load, required))
        for phase in ("water", "oil")
        if (load := case.high(phase)) is not None and (required := case.reckoner.required_min(phase)) is not None
    )
    fitting = [one for one in sizes(liquid, orientation) if one.is_common][:_FEW_SIZES]
    said = case.reckoner.said
    if fitting:
        told = ", ".join(
            f"{said(one.inside_diameter_m, 'length')} by {said(one.length_m, 'length')}" for one in fitting
        )
        half = "half full" if orientation == "horizontal" else "with room for gas above"
        yield f"A {orientation} vessel that holds both as long as required, {half}: {told} (seam to seam)."
