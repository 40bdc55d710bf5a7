"""Fit the map from confidence by rule to probability, and write the file that ships with `detect`.

    uv run python tests/benchmarks/calibrate.py --cache DIR --seeds N ... [--vessels N] [--days N] [--jobs N] [--write]

Each finding that was ever medium or high counts twice with half the weight: as it was first told so, and as the last
night left it. Two maps are compared by their Brier score on fleets left out in turn: logistic in the logarithm of the
odds, and isotonic; each with shifts of the kinds that are held to nothing more or less strongly, so that a kind with
few findings stays near the pooled map. `fleets.py --ranges other` then shows the curve, on fleets of other seeds and
other physics. A changed map changes a little which findings are withdrawn rather than cleared; fitting once is enough.
"""

import argparse
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

os.environ.setdefault("POLARS_MAX_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
from replaying import Replayed, replay, say
from scipy.optimize import brentq
from sklearn.isotonic import IsotonicRegression
from sklearn.linear_model import LogisticRegression
from worlds import Simulated

from nightgauge.detect import confidence as shipped_beside
from nightgauge.detect import find
from nightgauge.detect.confidence import BY_RULE, FILE, LEAST_SURE, Calibration
from nightgauge.detect.wording import MOST_SURE

TARGET = Path(shipped_beside.__file__).with_name(FILE)
WIDTHS = (0.0, 0.5, 1.0, 2.0)
"""Standard deviations by which the log odds of a kind may differ from all kinds', to be chosen from; 0: not at all."""
GRID = (0.05, 0.2, 0.35, 0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, MOST_SURE)
"""Where a logistic map is written down."""

Floats = np.typing.NDArray[np.float64]


@dataclass(frozen=True)
class Shown:
    """What the fit knows of a fleet's findings: one entry per finding and time."""

    kind: np.typing.NDArray[np.str_]
    by_rule: Floats
    right: Floats

    def __add__(self, other: "Shown") -> "Shown":
        """Return both together."""
        pairs = ((self.kind, other.kind), (self.by_rule, other.by_rule), (self.right, other.right))
        return Shown(*(np.concatenate(pair) for pair in pairs))


def shown(replayed: Replayed) -> Shown:
    """Return each finding as first told medium or high, and as the last night left it."""
    claims = [*replayed.first_claims, *replayed.score.claims]
    return Shown(
        np.array([c.kind for c in claims], dtype=np.str_),
        np.array([c.confidence for c in claims]),
        np.array([float(c.is_right) for c in claims]),
    )


def logistic(data: Shown) -> Calibration:
    """Return a map whose log odds are a line of the rule's log odds, rising or level."""
    column = _log_odds(data.by_rule).reshape(-1, 1)
    fitted = LogisticRegression(C=1e6).fit(column, data.right)
    slope = max(float(fitted.coef_[0, 0]), 0.0)
    log_odds = slope * _log_odds(np.array(GRID)) + float(fitted.intercept_[0])
    return Calibration(tuple(zip(GRID, np.round(1.0 / (1.0 + np.exp(-log_odds)), 4).tolist(), strict=True)))


def isotonic(data: Shown) -> Calibration:
    """Return the rising map nearest to what came true."""
    fitted = IsotonicRegression(y_min=LEAST_SURE, y_max=MOST_SURE).fit(data.by_rule, data.right)
    knots = zip(fitted.X_thresholds_.tolist(), fitted.y_thresholds_.round(4).tolist(), strict=True)
    return Calibration(tuple(knots))


MAPS: dict[str, Callable[[Shown], Calibration]] = {"logistic": logistic, "isotonic": isotonic}


def fit(data: Shown, name: str, width: float) -> Calibration:
    """Return a map with its kinds' shifts."""
    pooled = MAPS[name](data)
    if width == 0.0:
        return pooled
    kinds = sorted(set(data.kind.tolist()))
    return Calibration(pooled.knots, {kind: _shift(data, kind, pooled, width) for kind in kinds})


def _shift(data: Shown, kind: str, pooled: Calibration, width: float) -> float:
    """Return the likeliest shift of a kind's log odds, held to nothing by a normal prior of this width."""
    mine = data.kind == kind
    base = _log_odds(np.array([pooled.of("", c) for c in data.by_rule[mine]]))

    def slope(shift: float) -> float:
        # Two entries stand for one finding, so each has half the weight.
        return 0.5 * float(np.sum(data.right[mine] - 1.0 / (1.0 + np.exp(-base - shift)))) - shift / width**2

    return round(float(brentq(slope, -20.0, 20.0)), 3)


def _log_odds(share: Floats) -> Floats:
    return np.asarray(np.log(share / (1.0 - share)))


def loss(calibration: Calibration, data: Shown) -> Floats:
    """Return the squared distance between probability and what came true, of each entry."""
    given = np.array([calibration.of(k, c) for k, c in zip(data.kind.tolist(), data.by_rule, strict=True)])
    return np.asarray((given - data.right) ** 2)


def compared(fleets: Sequence[Shown]) -> dict[tuple[str, float], float]:
    """Return the Brier score of each map and width on fleets that were left out of its fit, in turn."""
    scores = {}
    for name in MAPS:
        for width in WIDTHS:
            losses = []
            for place, left_out in enumerate(fleets):
                first, *others = (f for n, f in enumerate(fleets) if n != place)
                losses.append(loss(fit(sum(others, start=first), name, width), left_out))
            scores[name, width] = float(np.concatenate(losses).mean())
    return scores


def main() -> int:
    """Fit, compare, and write where asked to."""
    asked = arguments()
    fleets = []
    for seed in asked.seeds:
        world = Simulated(seed, asked.vessels, asked.days)
        fleets.append(shown(replay(world, asked.cache, asked.jobs, partial(find, calibration=BY_RULE))))
        say(f"{world.name}: {len(fleets[-1].right)} entries, {fleets[-1].right.mean():.0%} right")
    first, *others = fleets
    whole = sum(others, start=first)
    scores = compared(fleets)
    say(f"\nBrier score on fleets left out; by rule {loss(BY_RULE, whole).mean():.4f}")
    for (name, width), value in scores.items():
        say(f"  {name}, kinds' width {width}: {value:.4f}")
    name, width = min(scores, key=lambda key: scores[key])
    chosen = fit(whole, name, width)
    made = {
        "commit": _commit(),
        "date": f"{datetime.now(UTC):%Y-%m-%d}",
        "command": "tests/benchmarks/calibrate.py",
        "fleets": f"simulated, usual ranges, {asked.vessels} vessels x {asked.days} days, seeds "
        + ", ".join(map(str, asked.seeds)),
        "entries": len(whole.right),
        "right": int(whole.right.sum()),
        "map": f"{name}, kinds' width {width}",
        "brier_by_rule": round(float(loss(BY_RULE, whole).mean()), 4),
        "brier_left_out": round(scores[name, width], 4),
    }
    text = written(chosen, made)
    say("\n" + text)
    if asked.write:
        TARGET.write_text(text, encoding="utf-8")
    return 0


def written(calibration: Calibration, made: dict[str, object]) -> str:
    """Return the file's content."""
    about = "share of medium and high findings that were right, by the rule's confidence; see detect/confidence.py"
    content = {
        "about": about,
        "made": made,
        "knots": [list(knot) for knot in calibration.knots],
        "shifts": dict(calibration.shifts),
    }
    a_knot_a_line = re.sub(r"\[\s+([^\s,]+),\s+([^\s,]+)\s+\]", r"[\1, \2]", json.dumps(content, indent=2))
    return a_knot_a_line + "\n"


def _commit() -> str:
    """Return the commit of the checkout; a copy of it without history has none."""
    told = subprocess.run(
        ["git", "describe", "--always", "--dirty"],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parent,
    )
    return told.stdout.strip() or "not known"


def arguments() -> argparse.Namespace:
    """Return the command line's arguments."""
    made = argparse.ArgumentParser(description="Fit the map of confidences on simulated fleets.")
    made.add_argument("--cache", type=Path, required=True, help="folder for samples and derived rows")
    made.add_argument("--seeds", type=int, nargs="+", required=True, help="seeds of the fleets, two at least")
    made.add_argument("--vessels", type=int, default=60)
    made.add_argument("--days", type=int, default=42)
    made.add_argument("--jobs", type=int, default=2, help="processes")
    made.add_argument("--write", action="store_true", help=f"write {FILE}")
    asked = made.parse_args()
    if len(asked.seeds) < 2:
        made.error("a fleet is left out in turn, so there must be two at least")
    return asked


if __name__ == "__main__":
    sys.exit(main())
