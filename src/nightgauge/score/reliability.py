"""Whether a confidence means what it says: of findings given 0.8, about 80 % should be right."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

EDGES = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Of the bins. House choice: even steps where confidences lie, one bin for what is rather not believed."""


@dataclass(frozen=True)
class Claim:
    """One medium or high finding: how sure it was, and whether it was right."""

    finding: str
    kind: str
    confidence: float
    is_right: bool
    """Whether it found a fault and named it right; one that was withdrawn later did not."""


@dataclass(frozen=True)
class Bin:
    """Claims of about the same confidence."""

    low: float
    high: float
    count: int
    mean_confidence: float
    right_share: float


def bins(claims: Sequence[Claim], edges: Sequence[float] = EDGES) -> list[Bin]:
    """Return the reliability curve: each bin holds its lower edge, the last one both; empty bins are left out."""
    found = []
    for low, high in pairwise(edges):
        mine = [c for c in claims if low <= c.confidence < high or (c.confidence == high == edges[-1])]
        if mine:
            mean = sum(c.confidence for c in mine) / len(mine)
            found.append(Bin(low, high, len(mine), mean, sum(c.is_right for c in mine) / len(mine)))
    return found


def brier(claims: Sequence[Claim]) -> float | None:
    """Return the mean squared distance between confidence and what came true; None without claims.

    Source: Brier, G. W. (1950), doi 10.1175/1520-0493(1950)078<0001:VOFEIT>2.0.CO;2, for two classes, one counted.

    Examples
    --------
    >>> brier([Claim("f1", "dump_leaking", 1.0, True), Claim("f2", "dump_leaking", 0.5, False)])
    0.125

    """
    return sum((c.confidence - c.is_right) ** 2 for c in claims) / len(claims) if claims else None


def reliability_table(claims: Sequence[Claim], when: str) -> str:
    """Return the curve as plain text, a line per bin; `when` says of which time the confidences are."""
    lines = [f"confidence {when}", "from         findings   mean given   were right"]
    lines += [
        f"{b.low:.1f} to {b.high:.1f}{b.count:>11}{b.mean_confidence:>13.2f}{100.0 * b.right_share:>11.0f} %"
        for b in bins(claims)
    ]
    score = brier(claims)
    return "\n".join(lines if score is None else [*lines, f"Brier score {score:.3f} over {len(claims)} findings"])
