"""Numbers of the dumps on two sides: medians and differences."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from nightgauge.report.cycles import Compared, compared, with_gap
from nightgauge.vocabulary.frames import DUMP_CYCLES

INCH_M = 0.0254
REPAIR = datetime(2026, 5, 12, 18, tzinfo=UTC)


def _cycles(gaps_in: list[float], start: datetime = REPAIR) -> pl.DataFrame:
    """Dumps half an hour apart that shut at 42 in and open the given gap above."""
    times = [start + timedelta(minutes=30 * at) for at in range(len(gaps_in))]
    return with_gap(DUMP_CYCLES.build(pl.DataFrame({
        "vessel": ["V"] * len(gaps_in), "opened_utc": times,
        "shut_utc": [time + timedelta(minutes=5) for time in times],
        "opening_level_m": [(42 + gap) * INCH_M for gap in gaps_in], "closing_level_m": [42 * INCH_M] * len(gaps_in),
        "drain_s": [300.0] * len(gaps_in),
    }).with_columns(pl.col("opened_utc", "shut_utc").cast(pl.Datetime("us", "UTC")))))  # fmt: skip


def _gap(rows: tuple[Compared, ...]) -> Compared:
    return next(row for row in rows if row.words == "gap between them")


def test_the_difference_of_medians_and_its_uncertainty_are_those_of_the_formula() -> None:
    # Gaps 3.8 ... 4.2 in and 5.8 ... 6.2 in, evenly: median absolute deviation 0.1 in, sigma 1.4826 x 0.1 = 0.148 in.
    # Error of each median 1.2533 x 0.148 / sqrt(5) = 0.0831; of the difference 0.1175; times 1.96 = 0.23 in.
    rows = compared(_cycles([3.8, 3.9, 4.0, 4.1, 4.2]), _cycles([5.8, 5.9, 6.0, 6.1, 6.2]), "oilfield")
    gap = _gap(rows)
    assert (gap.before, gap.after, gap.difference, gap.moved) == ("4.0 in", "6.0 in", "+2.00 ± 0.23 in", True)


def test_a_difference_smaller_than_its_uncertainty_is_no_move() -> None:
    rows = compared(_cycles([3.8, 3.9, 4.0, 4.1, 4.2]), _cycles([3.9, 4.0, 4.1, 4.2, 4.3]), "oilfield")
    assert _gap(rows).difference == "+0.10 ± 0.23 in"
    assert not _gap(rows).moved


def test_few_dumps_are_not_compared() -> None:
    rows = compared(_cycles([4.0] * 4), _cycles([6.0] * 40), "oilfield")
    assert _gap(rows).difference == "too few to compare"
    assert not _gap(rows).moved


def test_the_uncertainty_covers_the_truth_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(200):
        sides = [_cycles(rng.normal(4.0, 0.2, 60).tolist()) for _ in range(2)]
        hits += not _gap(compared(sides[0], sides[1], "oilfield")).moved
    assert 0.90 <= hits / 200 <= 0.99  # 95 % of 200 draws, +- 3 standard errors of 1.5 %
