"""A few late values against the few before them: how far out, with an honest allowance for how few they are."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtr

from nightgauge.statistics.arrays import Floats
from nightgauge.statistics.robust import cleaned

LEAST_BEFORE = 2
"""Values before without which nothing is known of their scatter."""
MOST_DEVIATIONS = 37.0
"""Beyond this the tail of the normal law is below the smallest number there is."""


@dataclass(frozen=True)
class Shift:
    """How the mean of the late values lies to the record before them."""

    before: float
    """Mean of the record, outliers taken out."""
    after: float
    size: float
    error: float
    """Standard uncertainty of the size."""
    scatter: float
    """Standard deviation of one value of the record."""
    deviations: float
    """The size in standard deviations of a normal law as unlikely, with the size's sign: 3 is as rare whether four
    values are known before or forty."""


def shift(before: Floats, after: Floats, before_u: Floats, after_u: Floats, floor: float) -> Shift | None:
    """Return how late values lie to earlier ones.

    Parameters
    ----------
    before, after : (n,) and (k,) arrays
        In order of time, without NaN.
    before_u, after_u : (n,) and (k,) arrays
        Standard uncertainty of each value by itself; 0 where it is not known.
    floor : float
        Standard deviation below which no such value repeats, whatever the few before say; above 0.

    Returns
    -------
    Shift or None
        None of fewer than `LEAST_BEFORE` values before, or none after.

    Notes
    -----
    The prediction interval of the mean of k further values, `t s sqrt(1/k + 1/n)` with n - 1 degrees of freedom.
    Source: Hahn, J. Am. Stat. Assoc. 64 (1969) 878. The same with what is known beforehand, the values' own
    uncertainty or the floor, in place of `s` needs no allowance for few; the less sure of the two is told. A late
    value that is itself less sure than `s` counts as it is.

    Examples
    --------
    >>> few = shift(np.array([9.0, 10.0, 11.0]), np.array([5.0]), np.zeros(3), np.zeros(1), 0.1)
    >>> few.size, few.scatter, round(few.error, 4), round(few.deviations, 2)
    (-5.0, 1.0, 1.1547, -1.97)

    """
    count = before.size
    if count < LEAST_BEFORE or after.size < 1:
        return None
    record = cleaned(before)
    size = float(np.mean(after) - np.mean(record))
    seen, known = float(np.std(record, ddof=1)), max(float(np.sqrt(np.mean(before_u**2))), floor)
    seen_error, known_error = (_error(scatter, count, after_u) for scatter in (seen, known))
    by_seen = normal_deviations(size / seen_error if seen_error > 0.0 else np.copysign(np.inf, size), count - 1.0)
    by_known = size / known_error
    return Shift(
        before=float(np.mean(record)),
        after=float(np.mean(after)),
        size=size,
        error=max(seen_error, known_error),
        scatter=max(seen, known),
        deviations=min(by_seen, by_known, key=abs),
    )


def _error(scatter: float, count: int, after_u: Floats) -> float:
    """Return the standard uncertainty of the mean of late values less that of a record of so many."""
    late = float(np.mean(np.maximum(scatter**2, after_u**2))) / after_u.size
    return float(np.sqrt(late + scatter**2 / count))


def normal_deviations(statistic: float, freedom: float) -> float:
    """Return what a value of Student's law is worth on the normal law: as far out as it is unlikely, 37 at most.

    Examples
    --------
    >>> round(normal_deviations(2.776, 4.0), 2), round(normal_deviations(-2.776, 4.0), 2)
    (1.96, -1.96)

    """
    if freedom <= 0.0 or statistic == 0.0:
        return 0.0
    far = min(-float(ndtri(stdtr(freedom, -abs(statistic)))), MOST_DEVIATIONS)
    return float(np.copysign(far, statistic))
