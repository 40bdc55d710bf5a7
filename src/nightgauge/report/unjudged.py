"""What could not be judged and why: first what has failed lately, then what was never measured."""

from dataclasses import dataclass

from nightgauge.report.week import WeekView
from nightgauge.report.words import listed

_NEVER_HAD = "needs "
"""How a reason starts that names a signal or a setting the vessel has never had; the judging room words it so."""


@dataclass(frozen=True)
class Unjudged:
    """One reason and the vessels it holds for."""

    vessels: str
    reason: str


def unjudged(view: WeekView) -> tuple[tuple[Unjudged, ...], tuple[Unjudged, ...]]:
    """Return what could not be judged for want of data, and what for want of a signal or a setting."""
    by_reason: dict[str, list[str]] = {}
    for vessel in view.field.vessels:
        for reason in view.unjudged.get(vessel.id, ()):
            by_reason.setdefault(reason, []).append(vessel.id)
    told = [Unjudged(_names(vessels, view), reason) for reason, vessels in by_reason.items()]
    lately = tuple(one for one in told if not one.reason.startswith(_NEVER_HAD))
    never = sorted((one for one in told if one.reason.startswith(_NEVER_HAD)), key=lambda one: one.reason)
    return lately, tuple(never)


def _names(vessels: list[str], view: WeekView) -> str:
    if len(vessels) == len(view.field.vessels) > 1:
        return f"all {len(vessels)} vessels"
    return listed(vessels)
