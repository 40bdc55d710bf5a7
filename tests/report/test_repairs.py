"""Whether a repair has held: by what stands, by the gap of the dumps, by the pressure of the days."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from nightgauge.report.cycles import with_gap
from nightgauge.report.repairs import of_days, of_dumps, repair_sentence
from nightgauge.vocabulary.frames import DUMP_CYCLES, VESSEL_DAYS

INCH_M, PSI_KPA = 0.0254, 6.894757293168361
REPAIR = datetime(2026, 5, 12, 18, tzinfo=UTC)
Findings = Callable[..., pl.DataFrame]


def _cycles(gaps_in: list[float]) -> pl.DataFrame:
    """Dumps half an hour apart after the repair, which shut at 42 in and open the given gap above."""
    times = [REPAIR + timedelta(minutes=30 * at) for at in range(len(gaps_in))]
    return with_gap(DUMP_CYCLES.build({
        "vessel": ["V"] * len(gaps_in), "opened_utc": times,
        "opening_level_m": [(42 + gap) * INCH_M for gap in gaps_in], "closing_level_m": [42 * INCH_M] * len(gaps_in),
    }))  # fmt: skip


def _days(held_psi: list[float | None]) -> pl.DataFrame:
    """Days from two before the repair's day on."""
    first = date(2026, 5, 10)
    held = [None if value is None else value * PSI_KPA for value in held_psi]
    days = [first + timedelta(days=at) for at in range(len(held))]
    return VESSEL_DAYS.build({"vessel": ["V"] * len(held), "day": days, "oil_hold_kpag": held})


STEADY = [4.0 + 0.05 * (at % 3) for at in range(97)]


@pytest.mark.parametrize(
    ("gaps", "said"),
    [
        (STEADY, "It has held for 48 h: the gap of the latest dumps"),
        ([4.0] * 48 + [5.5] * 48, "It has not held: the gap of the latest dumps differs by +1.50"),
        ([4.0] * 5, "Too few dumps since then"),
        ([], "Too few dumps since then"),
    ],
)
def test_a_repair_of_the_dump_holds_while_the_gap_stays(gaps: list[float], said: str) -> None:
    assert repair_sentence(of_dumps(_cycles(gaps), REPAIR), [], REPAIR, "oilfield").startswith(said)


@pytest.mark.parametrize(
    ("held", "said"),
    [
        ([41, 41, 43, 45.0, 45.1, 44.9, 45.0, 45.1, 45.0, 45.0], "It has held for 7 days: the held pressure"),
        ([41, 41, 43, 45, 45, 44.8, 44, 43.5, 43, 42.5], "It has not held: the held pressure of the latest days"),
        ([41, 41, 43, 45, 45, 45], "Too few days since then"),
        ([41, 41, 43, None, None, None, None, None, None, None], "Too few days since then"),
    ],
)
def test_a_repair_of_the_oil_valve_holds_while_the_pressure_stays(held: list[float | None], said: str) -> None:
    since = of_days(_days(held), "oil_valve", REPAIR)
    assert repair_sentence(since, [], REPAIR, "oilfield").startswith(said)


@pytest.mark.parametrize(
    ("onset", "last_seen", "said"),
    [
        (REPAIR - timedelta(days=3), REPAIR + timedelta(days=1), "“water dump leaks while shut” still stands."),
        (REPAIR + timedelta(hours=9), REPAIR + timedelta(days=1), "“water dump leaks while shut” came back after it."),
        (REPAIR - timedelta(days=3), REPAIR - timedelta(hours=1), "It has held for 48 h"),
    ],
)
def test_no_repair_has_held_that_a_finding_has_outlived(
    make_findings: Findings, onset: datetime, last_seen: datetime, said: str
) -> None:
    rows = list(make_findings({"onset": onset, "last_seen": last_seen}).iter_rows(named=True))
    assert said in repair_sentence(of_dumps(_cycles(STEADY), REPAIR), rows, REPAIR, "oilfield")
