import numpy as np
import pytest

from nightgauge.derive.bursts import bursts, weighted_quantile
from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.totals import Counted


def counted(volumes, period_s=10.0):
    edges = (np.arange(len(volumes) + 1) * period_s * SECOND_US).astype(np.int64)
    return Counted(edges[:-1], edges[1:], np.array(volumes, dtype=np.float64), int(period_s * SECOND_US))


def seconds(found):
    return list(zip((found.start_us / SECOND_US).tolist(), (found.end_us / SECOND_US).tolist(), strict=True))


def test_a_burst_starts_and_ends_within_its_partial_scans():
    # Open from 16 s to 44 s at 1 m3/s: 4 m3 of the scan to 20 s and of that to 50 s.
    fill = [0.0] * 50
    found = bursts(counted([0.0, 4, 10, 10, 4, *fill, 0, 4, 10, 10, 4, *fill]))
    assert seconds(found) == [(16.0, 44.0), (566.0, 594.0)]
    assert not found.running


def test_a_dump_of_five_coarse_pulses_is_one_burst():
    # One barrel every 20 s while open, read each second: the meter shows nothing between.
    dump = ([0.0] * 19 + [0.159]) * 5
    found = bursts(counted((dump + [0.0] * 900) * 6, period_s=1.0))
    assert found.start_us.size == 6
    # The first pulse tells of a barrel that began to flow one pulse's time before.
    assert np.abs(found.start_us / SECOND_US - 1000 * np.arange(6)).max() <= 20.0
    assert np.abs(found.end_us / SECOND_US - 1000 * np.arange(6) - 100).max() <= 20.0


def test_a_low_steady_flow_is_a_leak_and_no_dump():
    found = bursts(counted(([2.0] * 6 + [0.1] * 60) * 6))
    assert seconds(found) == [
        (pytest.approx(660.0 * k, abs=0.6), pytest.approx(660.0 * k + 60, abs=0.6)) for k in range(6)
    ]


def test_a_leak_that_passes_more_than_the_dumps_hides_none():
    found = bursts(counted(([4.0] * 6 + [1.0] * 120) * 6))
    assert found.start_us.size == 6


def test_steady_flow_has_no_bursts():
    assert bursts(counted([5.0, 5.2, 4.9, 5.1] * 50)) is None


def test_no_flow_has_no_bursts():
    assert bursts(counted([0.0] * 100)).start_us.size == 0


def test_a_dump_within_one_scan_counts():
    dumps = [v for volume in (3.0, 2.9, 3.2, 3.1, 2.8) for v in (*[0.0] * 20, volume)]
    assert bursts(counted(dumps, period_s=60.0)).start_us.size == 5


def test_flow_that_runs_at_the_last_reading_is_still_running():
    assert bursts(counted(([0.0] * 20 + [3.0] * 4) * 5)).running


def test_the_volume_of_bursts_and_leak_is_all_the_volume():
    rng = np.random.default_rng(3)
    volumes = np.concatenate([np.r_[rng.uniform(1, 2, 5), rng.uniform(0, 0.01, 40)] for _ in range(8)])
    meter = counted(volumes)
    found = bursts(meter)
    inside = meter.through(found.start_us, found.end_us)
    between, _ = meter.wholly_within(found.end_us[:-1], found.start_us[1:])
    assert inside.sum() + between.sum() == pytest.approx(volumes.sum(), rel=0.01)


def test_a_weighted_quantile_is_that_of_the_repeated_values():
    rng = np.random.default_rng(5)
    values, weights = rng.standard_normal(20), rng.integers(1, 6, 20)
    repeated = np.repeat(values, weights)
    for share in (0.1, 0.5, 0.9):
        assert weighted_quantile(values, weights.astype(float), share) == np.quantile(
            repeated, share, method="inverted_cdf"
        )
