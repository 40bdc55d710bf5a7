"""The ends of a vessel, at an inside diameter of 1: volumes scale with its cube, areas with its square.

A head answers four questions. Lying (vessel horizontal): volume and plan area of both heads together
below a level above the lowest point of the shell. Standing (vessel vertical): volume and plan area of
the bottom head below a level above its own lowest point.
"""

import math
from functools import cache
from typing import Protocol

import numpy as np
from numpy.polynomial import Chebyshev

from nightgauge.physics.numbers import Floats


class Head(Protocol):
    """One head shape at diameter 1."""

    @property
    def depth(self) -> float:
        """Return the inside depth over the diameter."""

    def lying_volume(self, level: Floats) -> Floats:
        """Return the volume of both heads below a level 0..1 of a horizontal vessel."""

    def lying_area(self, level: Floats) -> Floats:
        """Return the plan area of both heads at a level 0..1 of a horizontal vessel."""

    def standing_volume(self, level: Floats) -> Floats:
        """Return the volume of the bottom head below a level 0..depth."""

    def standing_area(self, level: Floats) -> Floats:
        """Return the plan area of the bottom head at a level 0..depth."""


class EllipsoidalHead:
    """Half an ellipsoid of revolution: flat (depth 0), 2:1 (depth 1/4), hemispherical (depth 1/2).

    Source: closed forms of the ellipsoid cut by a plane, `V = pi a h^2 (1 - h / 3R)` for a pair lying,
    `V = pi R^2 h^2 (3a - h) / 3a^2` for one standing.
    """

    def __init__(self, depth: float) -> None:
        self.depth = depth

    def lying_volume(self, level: Floats) -> Floats:
        """Return the volume of both heads below a level 0..1 of a horizontal vessel."""
        return math.pi * self.depth * level**2 * (1.0 - level / 1.5)

    def lying_area(self, level: Floats) -> Floats:
        """Return the plan area of both heads at a level 0..1 of a horizontal vessel."""
        return math.pi * self.depth * 2.0 * level * (1.0 - level)

    def standing_volume(self, level: Floats) -> Floats:
        """Return the volume of the bottom head below a level 0..depth."""
        if self.depth == 0.0:
            return level * 0.0
        return math.pi / 4.0 * level**2 * (3.0 * self.depth - level) / (3.0 * self.depth**2)

    def standing_area(self, level: Floats) -> Floats:
        """Return the plan area of the bottom head at a level 0..depth."""
        if self.depth == 0.0:
            return level * 0.0
        return math.pi / 4.0 * level * (2.0 * self.depth - level) / self.depth**2


class TorisphericalHead:
    """A spherical crown that runs into the shell through a toroidal knuckle.

    Parameters
    ----------
    crown : float
        Inside crown radius over the diameter.
    knuckle : float
        Inside knuckle radius over the diameter.

    Notes
    -----
    Standing, the volume is a spherical cap and then a slice of a torus, both in closed form. Lying, the
    plan area at a height needs an integral over the knuckle; it is done once by Gauss-Legendre and kept as
    Chebyshev series (relative error below 1e-12) in two pieces, above and below the crown's edge, because the
    curvature of the head jumps there.
    Source: geometry of tangent circles.

    """

    def __init__(self, crown: float, knuckle: float) -> None:
        self._crown, self._knuckle = crown, knuckle
        self._torus = 0.5 - knuckle  # radius of the circle on which the knuckle's centre runs
        cosine = math.sqrt(1.0 - (self._torus / (crown - knuckle)) ** 2)
        self._edge = crown * self._torus / (crown - knuckle)  # radius at which crown and knuckle are tangent
        self._cap = crown * (1.0 - cosine)
        self.depth = self._cap + knuckle * cosine
        self._fit_lying()

    def standing_volume(self, level: Floats) -> Floats:
        """Return the volume of the bottom head below a level 0..depth."""
        cap_level = np.minimum(level, self._cap)
        cap = math.pi * cap_level**2 * (self._crown - cap_level / 3.0)
        below_seam = self.depth - np.maximum(level, self._cap)
        torus = self._torus_slice(np.asarray(self.depth - self._cap)) - self._torus_slice(below_seam)
        return cap + torus

    def standing_area(self, level: Floats) -> Floats:
        """Return the plan area of the bottom head at a level 0..depth."""
        cap = math.pi * level * (2.0 * self._crown - level)
        below_seam = np.minimum(self.depth - level, self._knuckle)
        torus = math.pi * (self._torus + np.sqrt(self._knuckle**2 - below_seam**2)) ** 2
        return np.where(level < self._cap, cap, torus) + level * 0.0

    def _torus_slice(self, below_seam: Floats) -> Floats:
        """Return the volume between the seam and a depth below it, within the knuckle."""
        circle = np.sqrt(np.maximum(self._knuckle**2 - below_seam**2, 0.0))
        ring = below_seam * circle + self._knuckle**2 * np.arcsin(np.minimum(below_seam / self._knuckle, 1.0))
        return math.pi * ((self._torus**2 + self._knuckle**2) * below_seam - below_seam**3 / 3.0 + self._torus * ring)

    def lying_volume(self, level: Floats) -> Floats:
        """Return the volume of both heads below a level 0..1 of a horizontal vessel."""
        height = np.minimum(np.abs(level - 0.5), 0.5)
        inner = self._inner_volume(np.arcsin(np.minimum(height / self._edge, 1.0)))
        outer = self._outer_volume(np.maximum(height, self._edge))
        return 2.0 * (self._half + np.copysign(inner + outer, level - 0.5))

    def lying_area(self, level: Floats) -> Floats:
        """Return the plan area of both heads at a level 0..1 of a horizontal vessel."""
        height = np.minimum(np.abs(level - 0.5), 0.5)
        inner = self._inner_area(np.arcsin(np.minimum(height / self._edge, 1.0)))
        outer = self._outer_area(np.maximum(height, self._edge))
        return np.maximum(2.0 * np.where(height < self._edge, inner, outer), 0.0) + level * 0.0

    def _fit_lying(self) -> None:
        """Fit plan area and its integral: inside the crown's edge over an angle, outside over the height."""

        def swept(angle: Floats) -> Floats:
            return self._plan_area(self._edge * np.sin(angle)) * self._edge * np.cos(angle)

        right = [0.0, math.pi / 2.0]
        self._inner_area = Chebyshev.interpolate(lambda t: self._plan_area(self._edge * np.sin(t)), 60, domain=right)
        self._inner_volume = Chebyshev.interpolate(swept, 60, domain=right).integ(lbnd=0.0)
        self._outer_area = Chebyshev.interpolate(self._plan_area, 30, domain=[self._edge, 0.5])
        self._outer_volume = self._outer_area.integ(lbnd=self._edge)
        self._half = float(self._inner_volume(math.pi / 2.0) + self._outer_volume(0.5))

    def _plan_area(self, height: Floats) -> Floats:
        """Return the plan area of one lying head at a height off the axis, by quadrature."""
        width = np.sqrt(np.maximum(0.25 - height**2, 0.0))
        crown_width = np.sqrt(np.maximum(self._edge**2 - height**2, 0.0))
        return 2.0 * (self._crown_area(height, crown_width) + self._knuckle_area(height, crown_width, width))

    def _crown_area(self, height: Floats, width: Floats) -> Floats:
        """Return the area between the axis and `width` under the crown: a circle's segment less its base."""
        square = self._crown**2 - height**2
        circle = width * np.sqrt(square - width**2) + square * np.arcsin(width / np.sqrt(square))
        return 0.5 * circle - (self._crown - self.depth) * width

    def _knuckle_area(self, height: Floats, start: Floats, end: Floats) -> Floats:
        """Return the area under the knuckle between two widths."""
        nodes, weights = np.polynomial.legendre.leggauss(60)
        # Depth goes to zero at the shell like a square root of the width left; over u it is smooth.
        u = 0.5 * (nodes + 1.0)
        span = (end - start)[..., None]
        across = end[..., None] - span * u**2
        radius = np.sqrt(height[..., None] ** 2 + across**2)
        depth = np.sqrt(np.maximum(self._knuckle**2 - (radius - self._torus) ** 2, 0.0))
        return np.asarray((depth * 2.0 * u * span) @ (0.5 * weights))


@cache
def head(shape: str) -> Head:
    """Return the head of this shape; KeyError if there is none.

    Torispherical is the flanged and dished head with crown radius 1.0 D and knuckle radius 0.06 D.
    """
    if shape == "torispherical":
        return TorisphericalHead(crown=1.0, knuckle=0.06)
    return EllipsoidalHead({"flat": 0.0, "2:1 ellipsoidal": 0.25, "hemispherical": 0.5}[shape])
