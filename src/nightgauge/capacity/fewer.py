"""Which wells, sent elsewhere, would bring a vessel below what it can take."""

from collections.abc import Iterator

import polars as pl

from nightgauge.capacity.limits import Limit, Reckoner

_OF_THE_VESSEL = (" retention", " settling")  # a valve that is too small gets another trim before a well is moved


def fewer_wells(reckoner: Reckoner, tests: pl.DataFrame) -> Iterator[str]:
    """Say which wells would relieve the tightest liquid, with the least moved.

    Parameters
    ----------
    reckoner : Reckoner
        The vessel as it works.
    tests : WELL_TESTS
        The latest accepted test of each of the vessel's wells counts.

    """
    found = _tightest(reckoner)
    if found is None:
        return
    limit, surplus = found
    rates = _latest(reckoner, tests, f"{limit.phase}_m3_per_day")
    said = reckoner.said
    short = f"{said(surplus, 'liquid rate')} of {limit.phase} are too much for its {limit.name.split()[1]}"
    going = _fewest(rates, surplus)
    if going:
        brought = sum(rates[well] for well in going)
        who = f"{going[0]} alone" if len(going) == 1 else f"{', '.join(going[:-1])} and {going[-1]} together"
        tested = f"{said(brought, 'liquid rate')} by {'its' if len(going) == 1 else 'their'} latest test"
        yield f"{short}: {who}, {tested}, would do if sent elsewhere."
    elif rates:
        yield f"{short}: all its tested wells bring {said(sum(rates.values()), 'liquid rate')} by their latest tests."
    else:
        yield f"{short}; which wells to send elsewhere is not known without their tests."


def _tightest(reckoner: Reckoner) -> tuple[Limit, float] | None:
    """Return the vessel's own limit of a liquid that is most too small, and by how much. [m3/day]"""
    short = [
        (used, limit)
        for limit in reckoner.limits()
        if limit.name.endswith(_OF_THE_VESSEL) and (used := reckoner.used(limit)) is not None and used > 1.0
    ]
    if not short:
        return None
    used, limit = max(short, key=lambda one: one[0])
    return limit, (limit.rate_m3_per_day or 0.0) * (used - 1.0)


def _latest(reckoner: Reckoner, tests: pl.DataFrame, column: str) -> dict[str, float]:
    """Return the rates of the vessel's wells by their latest accepted tests."""
    wells = [well.id for well in reckoner.field.wells if well.vessel == reckoner.vessel.id]
    accepted = tests.filter((pl.col("state") == "accepted") & pl.col("well").is_in(wells))
    last = accepted.drop_nulls(column).sort("start_utc").group_by("well").agg(pl.col(column).last())
    return dict(last.iter_rows())


def _fewest(rates: dict[str, float], surplus: float) -> list[str]:
    """Return the smallest well that is enough by itself, else as few as are enough; none where all are not."""
    enough = sorted((rate, well) for well, rate in rates.items() if rate >= surplus)
    if enough:
        return [enough[0][1]]
    going: list[str] = []
    for well in sorted(rates, key=lambda one: (-rates[one], one)):
        going.append(well)
        if sum(rates[one] for one in going) >= surplus:
            return going
    return []
