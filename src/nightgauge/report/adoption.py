"""The page to review a drafted field: a line for each vessel with small traces of its tags, the doubtful ones first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt
from markupsafe import Markup, escape

from nightgauge.report.page import rendered
from nightgauge.report.words import counted, how_sure
from nightgauge.vocabulary.signals import SIGNALS, signal_words

_WIDTH_PX, _HEIGHT_PX = 132, 30
_COLUMNS = 66
"""First, lowest, highest and last value of each second pixel: a dump or a spike is never lost."""
_COLOURS = {"water": "water", "interface": "water", "oil": "oil", "gas": "gas", "scrubber": "gas"}
_DOUBTFUL = 0.7
"""Below this a guess is possible at best, in the words of all pages."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ReviewedTag:
    """One tag as the page shows it."""

    tag: str
    signal: str
    """Empty where none is proposed."""
    unit: str
    confidence: float
    why: str
    told: tuple[str, ...]
    """What contradicts it, as whole remarks."""
    times_s: Floats
    values: Floats
    """Raw samples of the time shown."""
    recorded: str = ""
    """How the historian keeps it: how often at most, and by how much it moves at least."""
    unit_why: str = ""
    """Where the unit comes from, where the export does not say it."""

    @property
    def words(self) -> str:
        """Return the proposed signal in words."""
        return signal_words(self.signal) if self.signal else "not known"

    @property
    def sure(self) -> str:
        """Return how sure it is, in words."""
        return how_sure(self.confidence)

    @property
    def is_doubtful(self) -> bool:
        """Return whether a person has to look at it."""
        return self.confidence < _DOUBTFUL or bool(self.told)

    @property
    def trace(self) -> Markup:
        """Return the small trace."""
        return trace_of(self.times_s, self.values, self.tag, self.signal)


@dataclass(frozen=True)
class ReviewedVessel:
    """One vessel as the page shows it."""

    id: str
    service: str
    settings: tuple[str, ...]
    """What the data told of its settings, in words."""
    blanks: int
    """How many keys only a drawing or a person can fill in."""
    tags: tuple[ReviewedTag, ...]

    @property
    def doubt(self) -> float:
        """Return how doubtful its most doubtful tag is; contradictions count most."""
        return max((1.0 - tag.confidence + (1.0 if tag.told else 0.0) for tag in self.tags), default=0.0)

    @property
    def doubtful(self) -> int:
        """Return how many of its tags a person has to look at."""
        return sum(tag.is_doubtful for tag in self.tags)


@dataclass(frozen=True)
class Review:
    """Everything the page shows."""

    name: str
    span: tuple[datetime, datetime]
    """Of the samples looked at, in the field's zone."""
    shown_days: float
    """How many of the last days the traces show."""
    vessels: tuple[ReviewedVessel, ...]
    unplaced: tuple[ReviewedTag, ...]


def adoption_page(review: Review) -> str:
    """Return the page as one HTML file."""
    vessels = sorted(review.vessels, key=lambda vessel: (-vessel.doubt, vessel.id))
    tags = sum(len(vessel.tags) for vessel in vessels) + len(review.unplaced)
    return rendered(
        "adoption.html.j2",
        title=f"{review.name}: draft",
        name=review.name,
        opening=_opening(review, tags),
        span=" – ".join(f"{end:%d %b %Y %H:%M}" for end in review.span),
        days=f"{review.shown_days:g}",
        vessels=vessels,
        unplaced=review.unplaced,
    )


def _opening(review: Review, tags: int) -> tuple[str, ...]:
    doubtful = sum(vessel.doubtful for vessel in review.vessels)
    contradicted = sum(bool(tag.told) for vessel in review.vessels for tag in vessel.tags)
    lines = [f"{counted(tags, 'tag', 'tags')} drafted as {counted(len(review.vessels), 'vessel', 'vessels')}."]
    if doubtful:
        why = f", {contradicted} because something contradicts" if contradicted else ""
        lines.append(f"{counted(doubtful, 'tag', 'tags')} to look at first{why}.")
    if review.unplaced:
        lines.append(f"{counted(len(review.unplaced), 'tag', 'tags')} without a place: they stand in unplaced.csv.")
    return tuple(line[0].upper() + line[1:] for line in lines)


def trace_of(times_s: Floats, values: Floats, tag: str, signal: str) -> Markup:
    """Return a small trace: the lowest and highest value of each column, with its range in words.

    Parameters
    ----------
    times_s, values : (n,) floats
        Samples by time, as the historian has them.
    tag, signal : str
        What it is of; the signal chooses the colour.

    """
    known = np.isfinite(values)
    times_s, values = times_s[known], values[known]
    if values.size == 0:
        return Markup('<span class="quiet">no samples</span>')
    if signal in SIGNALS and SIGNALS[signal].kind == "state":  # a switch stands where it is until it turns
        times_s, values = np.repeat(times_s, 2)[1:], np.repeat(values, 2)[:-1]
    low, high = float(values.min()), float(values.max())
    words = f"{tag}: from {low:.4g} to {high:.4g}"
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in _points(times_s, values))
    colour = next((_COLOURS[part] for part in signal.split("_") if part in _COLOURS), "ink")
    return Markup(
        f'<svg class="tagtrace" viewBox="0 0 {_WIDTH_PX} {_HEIGHT_PX}" width="{_WIDTH_PX}" height="{_HEIGHT_PX}" '
        f'role="img" aria-label="{escape(words)}"><title>{escape(words)}</title>'
        f'<polyline points="{points}" fill="none" stroke="var(--{colour})" stroke-width="1.2"/></svg>'
    )


def _points(times_s: Floats, values: Floats) -> Sequence[tuple[float, float]]:
    low, high = float(values.min()), float(values.max())
    span_s, range_ = max(float(times_s[-1] - times_s[0]), 1.0), (high - low) or 1.0
    column = np.minimum((times_s - times_s[0]) / span_s * _COLUMNS, _COLUMNS - 1).astype(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], np.diff(column) > 0)))
    x = (column[starts] + 0.5) * _WIDTH_PX / _COLUMNS
    ends = np.append(starts[1:], values.size) - 1
    lowest, highest = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    made: list[tuple[float, float]] = []
    for at, *shown in zip(x, values[starts], lowest, highest, values[ends], strict=True):
        # What a column begins and ends with is kept beside its extremes: a switch stays where it was left.
        for place, value in enumerate(shown):
            if place == 0 or value != shown[place - 1]:
                made.append((float(at), _HEIGHT_PX - 2.0 - (float(value) - low) / range_ * (_HEIGHT_PX - 4.0)))
    return made
