"""How unlike its other days a day is: robust scaling, the load taken out, then principal-component residuals.

Each day is first compared with the median of the two weeks before it, so that drifts and settled steps are no news.
The model of a week is learned from the days before that week: a day's score rests on days before it alone,
and stays what it was as nights go by. Arrays are (n_days, n_indicators) or (n_days, n_loads), NaN where not known.
"""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.history import Floats, Mask
from nightgauge.detect.past import NORMAL_MAD
from nightgauge.detect.unusual_indicators import medians
from nightgauge.statistics.medians import quantile

USUAL_DAYS, LEAST_USUAL_DAYS = 14, 7
"""Days whose median is the usual, and how few may stand for them: so a new setting is the usual one after a week, as
the format page asks."""
REFERENCE_DAYS = 42
"""Days that the model learns from: six weeks hold each weekday six times, and a season hardly moves in them."""
_OUTLIER = 3.0
"""Deviations to which a reference day is drawn in before it teaches: an odd day among them is not to be learned."""
_COMMON_SHARE = 0.5
"""Share of the variance that the common components hold: what the indicators do together on ordinary days. House
choice: with more, odd days vanish in them (see the benchmark)."""
_RIDGE = 3.0
"""Weight of "the load has no effect", in days one deviation from the usual load: half a week outvotes it."""
_LEAST_LOAD_SPREAD = 0.02
"""Least deviation of a load: meters scatter by 2 %; less is no load to learn from. In degrees it is nothing."""
_MOST_LEVERAGE = 0.8
"""Leverage taken at the most, so that a day alone on a component is not blown up without bound."""
_TAIL = 0.2
"""Share of the reference days that shape the tail beyond them."""
_FEW_DAYS = 8.0
"""The line rises by this share of one over the reference days: scales and components learned from few days leave more
of a new day than of those. Measured on noise of normal and heavier tails, five and twelve indicators, 21 to 42 days."""


@dataclass(frozen=True)
class Scaling:
    """Differences from the usual in robust deviations, with the load taken out.

    Attributes
    ----------
    scale : (n_indicators,) float
        Deviation of the differences; NaN where an indicator is too little known.
    load_scale : (n_loads,) float
        Deviation of the loads.
    slopes : (n_loads, n_indicators) float
        Deviations for each deviation of a load.
    unsure : (n_loads, n_loads) float
        How unsure the slopes are, in each direction of the loads.
    rest_scale : (n_indicators,) float
        Deviation of what the load leaves, in `scale`.

    """

    scale: Floats
    load_scale: Floats
    slopes: Floats
    unsure: Floats
    rest_scale: Floats

    @classmethod
    def learned(cls, differences: Floats, loads: Floats, floors: Floats, least_days: int) -> "Scaling":
        """Return the scaling by reference days; `floors` are the least deviations of the indicators."""
        enough = np.isfinite(differences).sum(axis=0) >= least_days
        scale = np.where(enough, np.maximum(spreads(differences), floors), np.nan)
        load_scale = np.maximum(np.nan_to_num(spreads(loads)), _LEAST_LOAD_SPREAD)
        x = drawn_in(loads / load_scale)
        unsure = np.asarray(np.linalg.inv(x.T @ x + _RIDGE * np.eye(x.shape[1])), dtype=np.float64)
        slopes = unsure @ x.T @ drawn_in(differences / scale)
        rest = spreads(differences / scale - x @ slopes)
        return cls(scale, load_scale, slopes, unsure, np.fmax(rest, floors / scale))

    def deviation(self, loads: Floats) -> Floats:
        """Return each day's deviation: it grows with the distance from the loads seen, where slopes are less sure."""
        x = np.nan_to_num(loads / self.load_scale)
        doubt = np.sqrt(1.0 + np.einsum("ij,jk,ik->i", x, self.unsure, x))
        return np.asarray(doubt[:, None] * self.rest_scale * self.scale)

    def __call__(self, differences: Floats, loads: Floats) -> Floats:
        """Return what the load leaves of the differences, in deviations."""
        x = np.nan_to_num(loads / self.load_scale)
        return np.asarray((differences - x @ self.slopes * self.scale) / self.deviation(loads))


@dataclass(frozen=True)
class Residue:
    """What the principal components of the reference days leave.

    Attributes
    ----------
    centre, axes : (n_indicators,), (n_common, n_indicators) float
        Mean and common components of the reference days.
    reference : (n_reference, n_indicators) float
        What they leave of the reference days, each as if it had not taught.

    """

    centre: Floats
    axes: Floats
    reference: Floats

    @classmethod
    def learned(cls, z: Floats) -> "Residue":
        """Return the residue by scaled reference days."""
        taught = drawn_in(z)
        centre = taught.mean(axis=0)
        left, singular, axes = np.linalg.svd(taught - centre, full_matrices=False)
        power = np.cumsum(singular**2)
        # Two directions at least are left over: with all of them common nothing could be odd.
        most = max(0, z.shape[1] - 2)
        common = min(int(np.searchsorted(power, _COMMON_SHARE * power[-1])) + 1, most) if power[-1] > 0 else 0
        leverage = (left[:, :common] ** 2).sum(axis=1) + 1.0 / len(z)
        made = cls(centre, axes[:common], np.empty(0))
        reference = made(z) / (1.0 - np.minimum(leverage, _MOST_LEVERAGE))[:, None]
        return cls(centre, axes[:common], reference)

    def __call__(self, z: Floats) -> Floats:
        """Return what the common components leave of scaled days; NaN stays."""
        away = z - self.centre
        return np.asarray(away - np.nan_to_num(away) @ self.axes.T @ self.axes)

    def line(self, known: Mask, chance: float) -> float:
        """Return the score that an ordinary day with these indicators known passes with this chance.

        The highest fifth of the reference is continued as an exponential tail: a normal one falls faster, so this is
        on the careful side.
        """
        scores = score(self.reference[:, known])
        start = quantile(scores, 1.0 - _TAIL)
        excess = float(np.mean(scores[scores >= start] - start))
        return (start + excess * float(np.log(_TAIL / chance))) * (1.0 + _FEW_DAYS / len(scores))


def score(residual: Floats) -> Floats:
    """Return the length of each day's residual over what is known of it, in deviations."""
    return np.asarray(np.sqrt(np.nansum(residual**2, axis=-1)))


def spreads(values: Floats) -> Floats:
    """Return the deviation from zero of each column, by the median: differences from the usual centre on it."""
    return np.asarray(NORMAL_MAD * medians(np.abs(values), 0))


def drawn_in(values: Floats) -> Floats:
    """Return values within three deviations; what is not known is as usual."""
    return np.clip(np.nan_to_num(values), -_OUTLIER, _OUTLIER)


def from_usual(values: Floats) -> tuple[Floats, Floats]:
    """Return each day's difference from the median of the fourteen before it, and that median."""
    padded = np.concatenate((np.full((USUAL_DAYS, values.shape[1]), np.nan), values[:-1]))
    windows = np.lib.stride_tricks.sliding_window_view(padded, USUAL_DAYS, axis=0)
    known = np.isfinite(windows).sum(axis=2) >= LEAST_USUAL_DAYS
    usual = np.where(known, medians(windows, 2), np.nan)
    return values - usual, usual
