"""What the page to review a draft shows: the draft's tags with the last days of their samples, settings in words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from nightgauge.adopt import Draft, DraftVessel, Row, blanks_of
from nightgauge.report.adoption import Review, ReviewedTag, ReviewedVessel

_SHOWN_DAYS = 2.0
"""Long enough for dumps every few hours, short enough that those every few minutes are still seen. House choice."""


def review_of(name: str, draft: Draft, toml: str, zone: ZoneInfo) -> Review:
    """Return what the page shows of a draft.

    Parameters
    ----------
    name : str
        The field's name.
    draft : Draft
        The draft.
    toml : str
        The field.toml as it now stands, whose blanks are counted.
    zone : ZoneInfo
        Of the times shown.

    """
    guesses = {guess.tag: at for at, guess in enumerate(draft.guesses)}
    by_vessel = {vessel.id: [row for row in draft.rows if row.vessel == vessel.id] for vessel in draft.vessels}
    blanks = _blanks(toml)
    vessels = tuple(
        ReviewedVessel(
            vessel.id,
            vessel.service,
            _settings(vessel),
            blanks.get(vessel.id, 0),
            tuple(_tag(draft, row, guesses[row.tag]) for row in by_vessel[vessel.id]),
        )
        for vessel in draft.vessels
    )
    earliest = draft.readings.samples["time_s"].min()
    first_s = earliest if isinstance(earliest, float) else draft.readings.latest_s
    first, last = (datetime.fromtimestamp(at, UTC).astimezone(zone) for at in (first_s, draft.readings.latest_s))
    return Review(
        name, (first, last), _SHOWN_DAYS, vessels, tuple(_tag(draft, row, guesses[row.tag]) for row in draft.unplaced)
    )


def _tag(draft: Draft, row: Row, at: int) -> ReviewedTag:
    guess = draft.guesses[at]
    times_s, values = draft.readings.of(at)
    since = np.searchsorted(times_s, draft.readings.latest_s - _SHOWN_DAYS * 86400.0)
    why = f"{guess.why}; vessel by {guess.vessel_why}" if guess.vessel >= 0 else f"{guess.why}; {guess.vessel_why}"
    return ReviewedTag(
        row.tag,
        row.signal,
        row.unit,
        guess.confidence,
        why,
        guess.told,
        times_s[since:],
        values[since:],
        row.recorded,
        row.unit_why,
    )


def _settings(vessel: DraftVessel) -> tuple[str, ...]:
    found, level = vessel.found, vessel.units.get("interface_level", "")
    pressure = vessel.units.get("vessel_pressure", "")
    told = [f"{found.action} dump"] if found.action else []
    for words, value, unit in (
        ("opens at", found.opens_at, level),
        ("shuts at", found.closes_at, level),
        ("interface held at", found.holds, level),
        ("oil valve holds", found.oil_holds, pressure),
        ("gas valve holds", found.gas_holds, pressure),
    ):
        told += [f"{words} {value:.4g} {unit}"] if value is not None else []
    return tuple(told)


def _blanks(toml: str) -> dict[str, int]:
    """Return how many blanks each vessel of a field.toml still has."""
    counts: dict[str, int] = {}
    for block in toml.split("\n[[vessel]]\n")[1:]:
        text = block.partition("\n[[")[0]
        found = next((line for line in text.splitlines() if line.startswith("id = ")), "")
        counts[found.partition('"')[2].rpartition('"')[0]] = len(blanks_of(text))
    return counts
