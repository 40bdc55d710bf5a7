"""What all of physics shares: the type of its numbers, and floats back for floats."""

from typing import TypeVar, cast

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Values = TypeVar("Values", float, Floats)
"""A float or an array of floats; what goes in as one comes out as the same."""


def as_floats(*values: float | Floats) -> tuple[Floats, ...]:
    """Return every value as an array of floats, a plain float as an array without dimensions."""
    return tuple(np.asarray(value, dtype=np.float64) for value in values)


def plain(values: Floats, like: Values) -> Values:
    """Return a result as a plain float if it has no dimensions, else unchanged; callers see the type of `like`."""
    return cast("Values", float(values) if np.ndim(values) == 0 else values)
