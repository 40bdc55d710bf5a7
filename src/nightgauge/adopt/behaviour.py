"""How each tag behaves by itself, in numbers that hold for any unit: does it count, saw, rest, follow the day."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.adopt.readings import Matrix, Readings

_DAY_MIN = 1440
_COUNTS_UP = 0.97
"""Share of the moves of a totaliser that go up: it steps back by a pulse, rolls over and is reset now and then, and
nothing else that is measured goes up as often. House choice."""
_FEWEST_MOVES = 8
"""Moves below which it cannot be told whether a tag counts. House choice."""
_HYSTERESIS = 0.3
"""A turn counts when the value has come back by this share of its usual range. House choice."""
_REST = 0.03
"""Within this share of its usual range above its lowest a tag rests. House choice."""


def raw_behaviour(readings: Readings) -> pl.DataFrame:
    """Return what the raw samples of each tag tell.

    Returns
    -------
    pl.DataFrame
        One row per tag that has samples: tag_id, samples, low, q05, q25, middle, q75, q95, high (quantiles), distinct
        (values), ups, downs (moves), smallest (usual smallest move), scan_s (shortest usual interval), longest_s
        (longest usual interval), climbed (sum of the
        moves up), decimals (share of values that are no whole numbers).

    """
    value = pl.col("value")
    by_tag = readings.samples.with_columns(
        step=value.diff().over("tag_id"), wait=pl.col("time_s").diff().over("tag_id")
    ).group_by("tag_id", maintain_order=True)
    move = pl.col("step").filter(pl.col("step") != 0.0)
    return by_tag.agg(
        samples=pl.len(),
        low=value.min(),
        q05=value.quantile(0.05),
        q25=value.quantile(0.25),
        middle=value.median(),
        q75=value.quantile(0.75),
        q95=value.quantile(0.95),
        high=value.max(),
        distinct=value.n_unique(),
        ups=(pl.col("step") > 0.0).sum(),
        downs=(pl.col("step") < 0.0).sum(),
        smallest=move.abs().quantile(0.1),
        scan_s=pl.col("wait").filter(pl.col("wait") > 0.0).quantile(0.01),
        longest_s=pl.col("wait").quantile(0.999),
        climbed=pl.col("step").filter(pl.col("step") > 0.0).sum(),
        decimals=(value != value.round(0)).mean(),
    )


def counts_up(raw: pl.DataFrame) -> pl.Series:
    """Return which tags are totalisers: nearly all moves go up, and it moves among many values."""
    moves = pl.col("ups") + pl.col("downs")
    is_counting = (
        (moves >= _FEWEST_MOVES) & (pl.col("ups") >= _COUNTS_UP * moves) & (pl.col("distinct") > _FEWEST_MOVES)
    )
    return raw.select(is_counting.alias("counts"))["counts"]


def shapes(values: Matrix, ids: Sequence[int]) -> pl.DataFrame:
    """Return how tags move, from their values minute by minute (NaN unknown).

    Returns
    -------
    pl.DataFrame
        One row per tag: tag_id; range (5 to 95 %); rest (share of the time at its lowest); full (at its highest);
        per_day (turns a day); peak_scatter, valley_scatter (of the turns, shares of the range); lean (skewness of the
        changes: below 0 it falls fast and rises slowly); falling (share of the moving time in which it falls);
        daily (share of the half-hourly variance that is a daily swing); memory (correlation with itself a minute
        later); still (share of minutes without a move); slow (share of the variance in half-hourly means); drop
        (median of the fastest falls within a minute, one a turn, as a share of the range).

    """
    return pl.DataFrame([{"tag_id": tag, **_shape(row)} for tag, row in zip(ids, values, strict=True)])


def _shape(row: npt.NDArray[np.float64]) -> dict[str, float]:
    known = row[np.isfinite(row)]
    if known.size < _DAY_MIN // 4 or known.min() == known.max():
        return dict.fromkeys(SHAPES, np.nan) | {"still": 1.0, "range": 0.0}
    low, high = np.quantile(known, (0.02, 0.98))
    span = float(high - low) or float(known.max() - known.min())
    change = np.diff(known)
    deviation = float(change.std()) or 1.0
    lean = float((np.clip(change / deviation, -8.0, 8.0) ** 3).mean())
    threshold = 0.02 * span
    falls, rises = float((change < -threshold).sum()), float((change > threshold).sum())
    peaks, valleys = turns(known, _HYSTERESIS * span)
    slow, daily = _slow(row)
    total = float(known.var()) or 1.0
    centred = known - known.mean()
    return {
        "range": span,
        "rest": float((known <= low + _REST * span).mean()),
        "full": float((known >= high - _REST * span).mean()),
        "per_day": len(peaks) / known.size * _DAY_MIN,
        "peak_scatter": _scatter(peaks) / span,
        "valley_scatter": _scatter(valleys) / span,
        "lean": lean,
        "falling": falls / (falls + rises) if falls + rises else 0.5,
        "daily": daily,
        "memory": float((centred[1:] * centred[:-1]).mean() / total),
        "still": float((change == 0.0).mean()),
        "slow": min(slow / total, 1.0),
        "drop": -float(np.median(np.sort(change)[: max(len(peaks), 1)])) / span,
    }


SHAPES = (
    "range", "rest", "full", "per_day", "peak_scatter", "valley_scatter", "lean", "falling", "daily", "memory",
    "still", "slow", "drop",
)  # fmt: skip
"""Columns of `shapes` beside the tag."""


def _scatter(turning: npt.NDArray[np.float64]) -> float:
    if turning.size < 4:
        return float("nan")
    low, high = np.quantile(turning, (0.25, 0.75))
    return float(high - low)


def _slow(row: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Return the variance of half-hourly means, and the share of it that is one swing a day."""
    whole = row[: row.size // 30 * 30].reshape(-1, 30)
    known = np.isfinite(whole)
    count = known.sum(axis=1)
    mean = np.where(known, whole, 0.0).sum(axis=1) / np.maximum(count, 1)
    at = np.flatnonzero(count > 0)
    mean = mean[at]
    if mean.size < 96:  # two days: fewer hold no daily course
        return float(mean.var()) if mean.size else 0.0, 0.0
    angle = 2.0 * np.pi * at / 48.0
    design = np.stack([np.ones_like(angle), at - at.mean(), np.cos(angle), np.sin(angle)], axis=1)
    fitted, *_ = np.linalg.lstsq(design, mean, rcond=None)
    rest = mean - design[:, :2] @ fitted[:2]
    variance = float(rest.var())
    left = float((mean - design @ fitted).var())
    return float(mean.var()), 1.0 - left / variance if variance > 0.0 else 0.0


def turns(
    values: npt.NDArray[np.float64], hysteresis: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return the peaks and valleys between which a series moves by more than the hysteresis, in turn."""
    # Only where the direction changes can a turn be: the loop then runs over a few values.
    moves = values[np.concatenate(([True], np.diff(values) != 0.0))]
    direction = np.sign(np.diff(moves))
    bends = moves[np.concatenate(([True], direction[1:] != direction[:-1], [True]))] if moves.size > 2 else moves
    peaks: list[float] = []
    valleys: list[float] = []
    top = bottom = float(bends[0]) if bends.size else 0.0
    rising = True
    for value in bends.tolist():
        top, bottom = max(top, value), min(bottom, value)
        if rising and value < top - hysteresis:
            peaks.append(top)
            rising, bottom = False, value
        elif not rising and value > bottom + hysteresis:
            valleys.append(bottom)
            rising, top = True, value
    return np.array(peaks), np.array(valleys)
