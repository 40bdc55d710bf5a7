"""What a change comes to, in sentences: what binds, what turns, what to mind."""

from collections.abc import Iterator

from nightgauge.capacity.change import Added, Change
from nightgauge.capacity.limits import Limit, Reckoner

NEAR_WORKING_PRESSURE = 0.9
"""Share of the working pressure from which a pressure counts as near it: the format's, where findings are of high
priority within 10 % of it."""


def told(now: Reckoner, then: Reckoner, change: Change) -> tuple[str, ...]:
    """Return what a change comes to, one sentence each.

    Parameters
    ----------
    now, then : Reckoner
        The vessel before and after.
    change : Change
        What was asked.

    """
    return (
        *_bound(now, then),
        *_turned(now, then),
        *_stopped(then),
        *_interface(now, then),
        *_pressure(now, change),
        *(sentence for well in change.added for sentence in _well(then, well)),
    )


def _bound(now: Reckoner, then: Reckoner) -> Iterator[str]:
    """Say which limit binds before and after."""
    before, after = now.used_most(), then.used_most()
    if after is None:
        yield "No limit is known together with its load, so nothing can be said to bind."
    elif before is None:
        yield f"{_capital(after[0])} would bind: {after[1]:.0%} used."
    elif before[0].name == after[0].name and before[1] == after[1]:
        yield f"{_capital(after[0])} binds as before: {after[1]:.0%} used."
    elif before[0].name == after[0].name:
        yield f"{_capital(after[0])} binds now and then: {before[1]:.0%} used, then {after[1]:.0%}."
    else:
        yield f"{_capital(before[0])} binds now, {before[1]:.0%} used; then {after[0].name}, {after[1]:.0%}."


def _turned(now: Reckoner, then: Reckoner) -> Iterator[str]:
    """Say which limits become too small, and which no longer are."""
    for before, after in zip(now.limits(), then.limits(), strict=True):
        was, is_ = now.used(before), then.used(after)
        if was is None or is_ is None:
            continue
        if was <= 1.0 < is_:
            over = (then.high(after.phase) or 0.0) - (after.rate_m3_per_day or 0.0)
            dimension = "gas rate" if after.phase == "gas" else "liquid rate"
            yield f"{_capital(after)} would be too small: {is_:.0%} used, {then.said(over, dimension)} too much."
        elif is_ <= 1.0 < was:
            yield f"{_capital(after)} would no longer be too small: {is_:.0%} used instead of {was:.0%}."


def _stopped(then: Reckoner) -> Iterator[str]:
    """Say which valves would pass nothing."""
    for limit in then.limits():
        if limit.rate_m3_per_day == 0.0 and limit.name in ("water dump", "oil valve"):
            yield f"The {limit.name} {limit.basis.replace('passes', 'would pass', 1)}."


def _interface(now: Reckoner, then: Reckoner) -> Iterator[str]:
    """Say what volume goes from one liquid to the other."""
    before, after = now.point.interface_m, then.point.interface_m
    was, is_ = now.volume_m3("water"), then.volume_m3("water")
    if before is None or after is None or was is None or is_ is None or before == after:
        return
    way, gains = ("higher", "more") if after > before else ("lower", "less")
    taken = "" if now.vessel.is_two_phase else f" and as much {'less' if after > before else 'more'} oil"
    moved, volume = now.said(abs(after - before), "length"), now.said(abs(is_ - was), "volume")
    surface = "level" if now.vessel.is_two_phase else "interface"
    yield f"The {surface} {moved} {way} holds {volume} {gains} water{taken}."


def _pressure(now: Reckoner, change: Change) -> Iterator[str]:
    """Say what another pressure means for wells, gas valve and vessel."""
    asked, held, said = change.pressure_kpag, now.point.pressure_kpag, now.said
    if asked is None:
        return
    if held is not None and asked != held:
        moved, more = said(abs(asked - held), "pressure difference"), "more" if asked > held else "less"
        yield f"Every well that flows to it would have {moved} {more} back pressure."
    gas_valve = now.vessel.gas_valve_at(now.until).holds_kpag
    if gas_valve is not None and asked >= gas_valve:
        yield (
            f"The gas valve is set to {said(gas_valve, 'pressure')} and would open first; it has to stay above the "
            "oil valve."
        )
    most = now.vessel.max_working_pressure_kpag
    if most is None:
        yield "max_working_pressure is not in field.toml: read the nameplate before anything else."
    elif asked > NEAR_WORKING_PRESSURE * most:
        yield f"{said(asked, 'pressure')} is within 10 % of the working pressure, {said(most, 'pressure')}."


def _well(then: Reckoner, well: Added) -> Iterator[str]:
    """Say what a well was taken to bring, and what of it could not be counted."""
    if well.tested_utc is not None:
        day = well.tested_utc.astimezone(then.field.zone).date()
        brought = ", ".join(_brought(then, well, phase) for phase in ("water", "oil", "gas"))
        yield f"{well.name} brings by its test of {day:%Y-%m-%d}: {brought}."
    elif "gas" in then.loads and well.gas_m3_per_day is None:
        yield "Of a well as stated the gas is not known and not counted."
    lost = [phase for phase in ("water", "oil") if well.brings(phase) and phase not in then.loads]
    if lost:
        yield f"The load of {' and '.join(lost)} is not known, so what {well.name} brings of it is not counted."
    if well.name in {one.id for one in then.field.wells if one.vessel == then.vessel.id}:
        yield f"{well.name} normally flows to {then.vessel.id} already: it is counted twice unless it has been shut in."


def _brought(then: Reckoner, well: Added, phase: str) -> str:
    rate = well.brings(phase)
    if rate is None:
        return f"{phase} not known, counted as none"
    return f"{then.said(rate, 'gas rate' if phase == 'gas' else 'liquid rate')} {phase}"


def _capital(limit: Limit) -> str:
    return limit.name[0].upper() + limit.name[1:]
