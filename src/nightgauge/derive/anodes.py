"""What is left of each sacrificial anode and how long it lasts: ANODES.

Where the current in its lead is known, the charge since the last known mass gives the mass that is left, by
Faraday's law with a stated practical capacity, and the current of the last weeks the life. Without a current the loss
between two known masses is carried on. Where neither can be done the row says what is missing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from nightgauge.derive.spans import Floats
from nightgauge.field.settings import Anode, Field
from nightgauge.physics.anodes import (
    ANODE_MATERIALS,
    aluminium_capacity_ah_per_kg,
    life_left_years,
    mass_consumed_kg,
    usable_mass_kg,
)
from nightgauge.statistics.robust import weighted_quantile
from nightgauge.vocabulary.frames import ANODES
from nightgauge.vocabulary.kinds_anode import LOST
from nightgauge.vocabulary.signals import of_part

RECENT = timedelta(days=28)
"""Days whose median current the life is reckoned at. House choice: four whole weeks of a field's routine."""
CAPACITY_SPREAD = 0.10
"""Half of the 80 % interval of a practical capacity, as a share of it. House choice: published capacities of one
metal lie about so far apart."""
MASS_SPREAD = 0.05
"""Half of the 80 % interval of an inspected mass, as a share of the new mass. House choice: scale, core and the eye."""
LOOK = timedelta(days=365)
"""Longest time between two looks at an anode. Common practice, no source."""
_LEAST_KNOWN_H = 24.0
"""Known time that a mean current is taken of. [h] House choice: a day holds the daily swing once."""
_GONE = LOST.limit("share").default
"""Share of its median at which the last known day's current is gone, as for the finding that tells it."""
_NO_CURRENT_A = 1e-6
"""Less is no current. [A] House choice: a millionth of an ampere takes a gram of magnesium in a century."""
_FARTHEST = timedelta(days=36500)
"""Life for which no day is named: nobody plans a century ahead. House choice."""
_DAYS_PER_YEAR = 365.0
_HOUR_S, _DAY_S = 3600.0, 86400.0


@dataclass(frozen=True)
class _Mass:
    """A mass known at a time."""

    at: datetime
    mass_kg: float
    spread_kg: float
    words: str


@dataclass(frozen=True)
class _Current:
    """What is known of a current since a mass was known: charges and currents with their 80 % intervals."""

    charge_ah: float
    charge_spread_ah: float
    known_share: float
    recent_a: float | None
    low_a: float
    high_a: float


@dataclass(frozen=True)
class _Bar:
    """An anode with the data that its mass is reckoned with."""

    new_kg: float
    utilisation: float
    capacity_ah_per_kg: float
    basis: str


@dataclass(frozen=True)
class _Case:
    """One way it may be: the mass known last, the charge since, the capacity, and the current to come."""

    bar: _Bar
    mass_kg: float
    charge_ah: float
    capacity_ah_per_kg: float
    current_a: float

    @property
    def left_kg(self) -> float:
        return max(self.mass_kg - float(mass_consumed_kg(self.charge_ah, self.capacity_ah_per_kg)), 0.0)

    @property
    def life_days(self) -> float:
        usable = usable_mass_kg(self.left_kg, self.bar.new_kg, self.bar.utilisation)
        return float(life_left_years(usable, self.capacity_ah_per_kg, self.current_a)) * _DAYS_PER_YEAR


def anode_status(field: Field, hours: pl.DataFrame, until: datetime) -> pl.DataFrame:
    """Return what is left of each anode of a field.

    Parameters
    ----------
    field : Field
        With its anodes and what inspections found.
    hours : SIGNAL_HOURS
        Of the signals `anode_current:<id>` of all vessels and all times.
    until : datetime
        Nothing at or after it is looked at.

    Returns
    -------
    ANODES
        One row per anode that was there before `until`; null where something is missing, and `basis` says what.

    """
    there = [a for a in field.anodes if a.installed_utc is None or a.installed_utc < until]
    return ANODES.build(pl.DataFrame([_row(field, a, hours, until) for a in there], schema=ANODES.schema))


def _row(field: Field, anode: Anode, hours: pl.DataFrame, until: datetime) -> dict[str, object]:
    masses, bar = _known_masses(field, anode, until), _bar(field, anode)
    row: dict[str, object] = {
        "vessel": anode.vessel, "anode": anode.id, "material": anode.material, "until_utc": until,
    }  # fmt: skip
    if not masses:
        return row | {"basis": "needs the day it was put in (installed), or an inspection, with its mass"}
    last = masses[-1]
    current = _current(_of_anode(hours, anode), last.at, until)
    row["from_utc"] = last.at
    row["inspect_by"] = _day(field, last.at + LOOK)
    if anode.mass_kg is not None:
        row["first_mass_kg"] = last.mass_kg
    if current is not None:
        row |= {"charge_ah": current.charge_ah, "current_a": current.recent_a}
    if current is not None and anode.mass_kg is not None:
        return row | _by_current(field, bar, last, current, until)
    if len(masses) > 1:
        return row | _by_inspections(field, anode, bar, masses, until)
    return row | {"basis": f"needs {_missing(anode)}, or a second known mass, from inspections"}


def _missing(anode: Anode) -> str:
    if anode.tag is None:
        return "a tag for the current in its lead"
    return "its mass when new" if anode.mass_kg is None else "a day of known current in its lead"


def _known_masses(field: Field, anode: Anode, until: datetime) -> list[_Mass]:
    """Return the masses known before `until` in order of time, from the last that was put in on.

    Without a mass when new they are shares of it.
    """
    new = 1.0 if anode.mass_kg is None else anode.mass_kg
    found = [] if anode.installed_utc is None else [_Mass(anode.installed_utc, new, 0.0, "put in")]
    for seen in field.inspections:
        mass = seen.mass_kg if seen.left_fraction is None else seen.left_fraction * new
        is_usable = seen.left_fraction is not None or anode.mass_kg is not None
        if (seen.vessel, seen.anode) == (anode.vessel, anode.id) and seen.at_utc < until and mass is not None:
            found += [_Mass(seen.at_utc, mass, MASS_SPREAD * new, "inspected")] if is_usable else []
    # Of two at one time the later line counts.
    found = sorted({known.at: known for known in found}.values(), key=lambda known: known.at)
    masses = [known.mass_kg for known in found]
    # More than there was is a new bar: what was known before it is of another.
    grown = [n for n in range(1, len(found)) if masses[n] > masses[n - 1] + 2 * MASS_SPREAD * new]
    return found[grown[-1] :] if grown else found


def _bar(field: Field, anode: Anode) -> _Bar:
    material = ANODE_MATERIALS[anode.material]
    capacity, words = anode.capacity_ah_per_kg, "by field.toml"
    if capacity is None:
        capacity, words = material.practical_capacity_ah_per_kg, material.source
        vessel = field.vessel(anode.vessel)
        temperature = None if vessel is None else vessel.temperature_c
        if anode.material == "aluminium" and temperature is not None:
            warm = float(aluminium_capacity_ah_per_kg(temperature))
            if np.isfinite(warm):
                capacity, words = warm, f"at the vessel's temperature; {material.source}"
    used = material.utilisation if anode.utilisation is None else anode.utilisation
    new = 1.0 if anode.mass_kg is None else anode.mass_kg
    return _Bar(new, used, capacity, f"{capacity:.0f} A h/kg ({words}), {_percent(used)} of the mass usable")


def _of_anode(hours: pl.DataFrame, anode: Anode) -> pl.DataFrame:
    return hours.filter(
        (pl.col("vessel") == anode.vessel) & (pl.col("signal") == of_part("anode_current", anode.id))
    ).sort("hour_utc")


def _current(hours: pl.DataFrame, start: datetime, until: datetime) -> _Current | None:
    """Return the charge that went through from one time to another; None where less than a day is known.

    A current below nothing, or next to it, counts as none: it is an offset of the meter. Unknown time is taken at the
    median of the known days; time before the first of them at the median of the first four weeks, so that a current
    that jumped or died lately does not change the years before.
    """
    begin = hours["hour_utc"].dt.epoch("us").to_numpy() / 1e6
    start_s, until_s = start.timestamp(), until.timestamp()
    within_h = np.clip((np.minimum(begin + _HOUR_S, until_s) - np.maximum(begin, start_s)) / _HOUR_S, 0.0, 1.0)
    mean = hours["mean"].cast(pl.Float64).to_numpy()
    mean = np.where(mean < _NO_CURRENT_A, 0.0, mean)
    known_h = np.where(np.isfinite(mean), within_h * hours["coverage"].cast(pl.Float64).to_numpy(), 0.0)
    used = known_h > 0.0
    if known_h.sum() < _LEAST_KNOWN_H:
        return None
    begin, mean, known_h = begin[used], mean[used], known_h[used]
    whole_h = (until_s - start_s) / _HOUR_S
    unknown_h = max(whole_h - float(known_h.sum()), 0.0)
    before_h = min(max((begin[0] - start_s) / _HOUR_S, 0.0), unknown_h)
    days = _daily(begin, mean, known_h, until_s)
    usual, off = _usual(days)
    usual_first, off_first = _usual(days[-RECENT.days :])
    recent = begin >= until_s - RECENT.total_seconds()
    lately = _daily(begin[recent], mean[recent], known_h[recent], until_s)
    recent_a = weighted_quantile(mean[recent], known_h[recent], 0.5) if recent.any() else None
    if recent_a is not None and lately[0] <= _GONE * recent_a:
        recent_a = 0.0
    return _Current(
        charge_ah=float(np.sum(mean * known_h)) + usual * (unknown_h - before_h) + usual_first * before_h,
        charge_spread_ah=off * (unknown_h - before_h) + off_first * before_h,
        known_share=1.0 - unknown_h / whole_h,
        recent_a=recent_a,
        low_a=_quantile(lately, 0.1),
        high_a=_quantile(lately, 0.9),
    )


def _usual(days: Floats) -> tuple[float, float]:
    """Return the median of days, and how far off it may be: to the 10th or the 90th percentile."""
    usual = _quantile(days, 0.5)
    return usual, max(usual - _quantile(days, 0.1), _quantile(days, 0.9) - usual)


def _daily(begin: Floats, mean: Floats, known_h: Floats, until_s: float) -> Floats:
    """Return the mean of each day counted back from the end, the last day first, of the days that have any."""
    day = np.floor((until_s - begin - 1e-6) / _DAY_S).astype(np.int64)
    known = np.bincount(day, known_h)
    return np.asarray((np.bincount(day, mean * known_h)[known > 0.0]) / known[known > 0.0], dtype=np.float64)


def _quantile(values: Floats, share: float) -> float:
    return float(np.quantile(values, share)) if values.size else float("nan")


def _by_current(field: Field, bar: _Bar, last: _Mass, current: _Current, until: datetime) -> dict[str, object]:
    """Return mass and life by Faraday's law."""
    case = _Case(bar, last.mass_kg, current.charge_ah, bar.capacity_ah_per_kg, current.recent_a or 0.0)
    spread = bar.capacity_ah_per_kg * CAPACITY_SPREAD
    shorter = [
        replace(case, mass_kg=last.mass_kg - last.spread_kg),
        replace(case, charge_ah=current.charge_ah + current.charge_spread_ah),
        replace(case, capacity_ah_per_kg=bar.capacity_ah_per_kg - spread),
        replace(case, current_a=current.high_a),
    ]
    longer = [
        replace(case, mass_kg=last.mass_kg + last.spread_kg),
        replace(case, charge_ah=current.charge_ah - current.charge_spread_ah),
        replace(case, capacity_ah_per_kg=bar.capacity_ah_per_kg + spread),
        replace(case, current_a=current.low_a),
    ]
    known = f"current known {_percent(current.known_share)} of the time since"
    rest = "" if current.known_share > 0.995 else ", the rest taken at the median of its days"
    basis = (
        f"Faraday's law from the mass of {_day(field, last.at)} ({last.words}), {bar.basis}; {known}{rest}; "
        + _at_what(current)
    )
    lives = case.life_days, [other.life_days for other in shorter], [other.life_days for other in longer]
    told = _told(field, bar, case.left_kg, lives, (until, last.at))
    return {"mass_left_kg": case.left_kg, "basis": basis} | told


def _at_what(current: _Current) -> str:
    if current.recent_a is None:
        return f"no life: no current known in the last {RECENT.days} days"
    if current.recent_a <= 0.0:
        return "no life: it gives no current now"
    return (
        f"life at the median current of the last {RECENT.days} days, 80 % interval from its days, the known mass, "
        f"unknown time and {_percent(CAPACITY_SPREAD)} of the capacity either way"
    )


def _by_inspections(
    field: Field, anode: Anode, bar: _Bar, masses: Sequence[_Mass], until: datetime
) -> dict[str, object]:
    """Return mass and life by the loss from the first known mass to the last, carried on."""
    first, last = masses[0], masses[-1]
    span_days = (last.at - first.at) / timedelta(days=1)
    since_days = (until - last.at) / timedelta(days=1)
    lost, spread = first.mass_kg - last.mass_kg, float(np.hypot(first.spread_kg, last.spread_kg))

    def left_kg(loss: float) -> float:
        return max(last.mass_kg - max(loss, 0.0) * since_days / span_days, 0.0)

    def life_days(loss: float) -> float:
        usable = float(usable_mass_kg(left_kg(loss), bar.new_kg, bar.utilisation))
        return usable * span_days / loss if loss > 0.0 else float("nan")

    basis = (
        f"loss of mass from {_day(field, first.at)} ({first.words}) to {_day(field, last.at)} ({last.words}) "
        f"carried on, {_percent(bar.utilisation)} of the mass usable, each inspection {_percent(MASS_SPREAD)} of the "
        f"new mass either way; {_missing(anode)} would tell it closer"
        + ("" if lost > 0.0 else "; no life: no loss was seen")
    )
    told = _told(
        field, bar, left_kg(lost), (life_days(lost), [life_days(lost + spread)], [life_days(lost - spread)]),
        (until, last.at),
    )  # fmt: skip
    known = {} if anode.mass_kg is None else {"mass_left_kg": left_kg(lost)}
    return known | {"basis": basis} | told


_Lives = tuple[float, Sequence[float], Sequence[float]]


def _told(
    field: Field, bar: _Bar, mass_left: float, lives: _Lives, times: tuple[datetime, datetime]
) -> dict[str, object]:
    """Return share, life with its interval, and days, from the life and what else it might be."""
    life, shorter, longer = lives
    until, looked_at = times
    usable_new = float(usable_mass_kg(bar.new_kg, bar.new_kg, bar.utilisation))
    left = float(usable_mass_kg(mass_left, bar.new_kg, bar.utilisation)) / usable_new
    shortest = max(life - _off(life, shorter, min), 0.0)
    longest = life + _off(life, longer, max)
    row: dict[str, object] = {"left_fraction": min(left, 1.0)}
    if not np.isfinite(life):
        return row
    half_way = until + min(timedelta(days=shortest / 2.0), _FARTHEST)
    return row | {
        "life_left_days": life,
        "shortest_life_days": shortest,
        "longest_life_days": longest if longest < _FARTHEST.days else None,
        "spent_on": _day(field, until + timedelta(days=life)) if timedelta(days=life) < _FARTHEST else None,
        "inspect_by": _day(field, min(looked_at + LOOK, half_way)),
    }


def _off(life: float, others: Sequence[float], worse: Callable[[float, float], float]) -> float:
    """Return how far the life may be off to one side: what each cause does to it alone, as independent ones."""
    return float(np.sqrt(sum((worse(other, life) - life) ** 2 for other in others)))


def _day(field: Field, when: datetime) -> date:
    return when.astimezone(field.zone).date()


def _percent(share: float) -> str:
    return f"{share * 100.0:.0f} %"
