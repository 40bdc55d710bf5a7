"""Level to volume and back, for cylinders with heads, lying or standing.

Levels are above the lowest inside point. Levels outside the vessel count as its bottom or its top.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from nightgauge.errors import ProgrammerError
from nightgauge.physics import heads as head_shapes
from nightgauge.physics.numbers import Floats, Values, as_floats, plain

Heads = Literal["2:1 ellipsoidal", "hemispherical", "torispherical", "flat"]
Orientation = Literal["horizontal", "vertical"]

_NEWTON_STEPS = 80  # a bracket halves at worst each step: 80 halvings of any vessel are below 1e-20 m


def circle_segment_area(level: Floats) -> Floats:
    """Return the area of a circle of diameter 1 below a level 0..1.

    Notes
    -----
    `A = R^2 acos((R - h) / R) - (R - h) sqrt(2 R h - h^2)`. Source: geometry.

    Examples
    --------
    >>> round(float(circle_segment_area(np.asarray(0.25)) / (math.pi / 4)), 6)
    0.195501

    """
    below_axis = 0.5 - level
    half_chord = np.sqrt(np.maximum(level * (1.0 - level), 0.0))
    return np.asarray(0.25 * np.arctan2(half_chord, below_axis) - below_axis * half_chord)


@dataclass(frozen=True)
class Shell:
    """The inside of a vessel.

    Parameters
    ----------
    inside_diameter_m : float
        Of the straight shell, > 0. [m]
    length_m : float
        Seam to seam, > 0. [m]
    heads : str
        Shape of both heads; torispherical has crown radius 1.0 D and knuckle radius 0.06 D.
    orientation : str
        "horizontal" or "vertical".

    Raises
    ------
    ProgrammerError
        If a dimension is not positive, or heads or orientation are unknown.

    Examples
    --------
    A vessel of 10 ft by 30 ft lying half full holds 233.14 bbl:

    >>> vessel = Shell(3.048, 9.144, "2:1 ellipsoidal", "horizontal")
    >>> round(vessel.volume_m3(1.524) / 0.158987294928, 4)
    233.1423

    """

    inside_diameter_m: float
    length_m: float
    heads: Heads
    orientation: Orientation

    def __post_init__(self) -> None:
        """Refuse what is no vessel."""
        if not (self.inside_diameter_m > 0.0 and self.length_m > 0.0):
            raise ProgrammerError(f"shell of {self.inside_diameter_m} m by {self.length_m} m: both must be above 0")
        if self.orientation not in ("horizontal", "vertical"):
            raise ProgrammerError(f"shell is {self.orientation!r}: expected 'horizontal' or 'vertical'")
        try:
            head_shapes.head(self.heads)
        except KeyError as error:
            raise ProgrammerError(f"shell with {self.heads!r} heads: no such shape") from error

    @cached_property
    def head_depth_m(self) -> float:
        """Return the inside depth of one head. [m]"""
        return head_shapes.head(self.heads).depth * self.inside_diameter_m

    @cached_property
    def height_m(self) -> float:
        """Return the highest level. [m]"""
        if self.orientation == "horizontal":
            return self.inside_diameter_m
        return self.length_m + 2.0 * self.head_depth_m

    @cached_property
    def total_volume_m3(self) -> float:
        """Return the whole inside volume. [m3]"""
        return self.volume_m3(self.height_m)

    def volume_m3(self, level_m: Values) -> Values:
        """Return the volume below a level.

        Parameters
        ----------
        level_m : float or array
            Above the lowest inside point; clipped to 0..height; NaN passes. [m]

        Returns
        -------
        float or array
            Volume. [m3]

        """
        return self._at(level_m, self._lying_volume, self._standing_volume)

    def area_m2(self, level_m: Values) -> Values:
        """Return the plan area of a liquid surface, `dV/dh`, at a level.

        Parameters
        ----------
        level_m : float or array
            Above the lowest inside point; clipped to 0..height; NaN passes. [m]

        Returns
        -------
        float or array
            Plan area, heads included. [m2]

        """
        return self._at(level_m, self._lying_area, self._standing_area)

    def level_m(self, volume_m3: Values) -> Values:
        """Return the level below which a volume lies, the inverse of `volume_m3`.

        Parameters
        ----------
        volume_m3 : float or array
            Clipped to 0..total volume; NaN passes. [m3]

        Returns
        -------
        float or array
            Level above the lowest inside point. [m]

        Notes
        -----
        Newton's method, kept inside a bracket that is halved wherever a step would leave it; good to 1e-9 m, save in
        the uppermost thousandth of the height, where a float holds the volume no finer.

        """
        (volume,) = as_floats(volume_m3)
        wanted = np.clip(volume, 0.0, self.total_volume_m3)
        low, high = np.zeros_like(wanted), np.full_like(wanted, self.height_m)
        level = wanted / self.total_volume_m3 * self.height_m
        for _ in range(_NEWTON_STEPS):
            excess = self.volume_m3(level) - wanted
            low, high = np.where(excess <= 0.0, level, low), np.where(excess >= 0.0, level, high)
            area = np.asarray(self.area_m2(level))
            stepped = level - excess / np.where(area > 0.0, area, np.nan)
            inside = (stepped > low) & (stepped < high)
            following = np.where(inside, stepped, 0.5 * (low + high))
            settled = np.abs(following - level) <= 1e-14 * self.height_m
            level = np.where(np.isnan(wanted), np.nan, following)
            if np.all(settled | np.isnan(wanted)):
                break
        return plain(level, volume_m3)

    def _at(self, level_m: Values, lying: Callable[[Floats], Floats], standing: Callable[[Floats], Floats]) -> Values:
        (level,) = as_floats(level_m)
        # NumPy raises a lone number to a power by another way than an array, an ulp apart: one way for both.
        clipped = np.clip(np.atleast_1d(level), 0.0, self.height_m)
        values = lying(clipped) if self.orientation == "horizontal" else standing(clipped)
        return plain(values.reshape(level.shape), level_m)

    def _lying_volume(self, level: Floats) -> Floats:
        ratio = level / self.inside_diameter_m
        straight = circle_segment_area(ratio) * self.inside_diameter_m**2 * self.length_m
        return straight + head_shapes.head(self.heads).lying_volume(ratio) * self.inside_diameter_m**3

    def _lying_area(self, level: Floats) -> Floats:
        ratio = level / self.inside_diameter_m
        chord = 2.0 * np.sqrt(np.maximum(ratio * (1.0 - ratio), 0.0)) * self.inside_diameter_m
        return chord * self.length_m + head_shapes.head(self.heads).lying_area(ratio) * self.inside_diameter_m**2

    def _standing_volume(self, level: Floats) -> Floats:
        shape, diameter, depth = head_shapes.head(self.heads), self.inside_diameter_m, self.head_depth_m
        bottom = shape.standing_volume(np.minimum(level / diameter, shape.depth))
        straight = math.pi / 4.0 * diameter**2 * np.clip(level - depth, 0.0, self.length_m)
        headroom = np.minimum((self.height_m - level) / diameter, shape.depth)
        # Exactly 0 below the top seam: a few ulp of a full head are a visible level in the tip of the bottom one.
        top = shape.standing_volume(np.asarray(shape.depth)) - shape.standing_volume(headroom)
        return (bottom + top) * diameter**3 + straight

    def _standing_area(self, level: Floats) -> Floats:
        shape, diameter, depth = head_shapes.head(self.heads), self.inside_diameter_m, self.head_depth_m
        from_end = np.minimum(level, self.height_m - level)
        in_head = shape.standing_area(np.minimum(from_end, depth) / diameter)
        return np.where(from_end < depth, in_head, math.pi / 4.0 + from_end * 0.0) * diameter**2


def shell(
    inside_diameter_m: float | None, length_m: float | None, heads: Heads | None, orientation: Orientation | None
) -> Shell | None:
    """Return the vessel's inside, or None where a dimension is not known."""
    if inside_diameter_m is None or length_m is None or heads is None or orientation is None:
        return None
    return Shell(inside_diameter_m, length_m, heads, orientation)
