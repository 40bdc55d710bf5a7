"""Fleets drawn from either world keep to its ranges."""

import numpy as np
import pytest

from nightgauge.simulate import Mixture, random_fleet
from nightgauge.simulate.design import PSI
from nightgauge.simulate.ranges import OTHER, RANGES, USUAL, in_ratio


def lies_in(values, span):
    return all(span[0] <= v <= span[1] for v in values)


@pytest.mark.parametrize("name", sorted(RANGES))
def test_every_vessel_of_a_fleet_lies_within_its_ranges(name):
    ranges = RANGES[name]
    fleet = random_fleet(25, 20, 3, mixture=Mixture(ranges=ranges)).vessels
    assert lies_in([v.physics.oil_droop_kpa / PSI for v in fleet], ranges.droop_psi)
    assert lies_in([v.physics.slack for v in fleet], ranges.slack)
    assert lies_in([v.physics.stroke_s for v in fleet], ranges.stroke_s)
    assert lies_in([w.slugs.height for v in fleet for w in v.wells], ranges.slug_height)
    assert lies_in([w.wander for v in fleet for w in v.wells], ranges.wander)
    gaps = [v.physics.trip_scatter_m / (v.physics.opens_at_m - v.physics.closes_at_m) for v in fleet]
    assert lies_in(gaps, (ranges.trip_scatter[0] - 1e-9, ranges.trip_scatter[1] + 1e-9))
    levels = [i for v in fleet for i in v.instruments if i.signal == "interface_level"]
    assert lies_in([i.noise / 0.05 for i in levels], ranges.noise)
    assert lies_in([i.dead_band / 0.20 for i in levels], ranges.dead_band)
    assert {i.scan_s for i in levels} <= set(ranges.scans_s)


def test_the_other_world_is_rougher_on_the_whole():
    usual, other = (random_fleet(40, 20, 3, mixture=Mixture(ranges=r)).vessels for r in (USUAL, OTHER))
    for name in ("slack", "stroke_s"):
        means = [np.mean([getattr(v.physics, name) for v in fleet]) for fleet in (usual, other)]
        assert means[1] > means[0]


def test_a_draw_in_ratio_is_even_in_the_logarithm():
    rng = np.random.default_rng(1)
    drawn = np.log10([in_ratio((1.0, 100.0), rng) for _ in range(4000)])
    # An even draw over 0 to 2 has mean 1 and standard deviation 0.577; its mean over 4,000 strays by 0.01.
    assert drawn.mean() == pytest.approx(1.0, abs=0.03)
    assert drawn.std() == pytest.approx(2.0 / np.sqrt(12.0), abs=0.02)
