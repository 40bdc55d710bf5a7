"""A vessel to simulate, built so that its numbers can be worked out by hand."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from nightgauge.simulate.design import Design, physics, settings, wells
from nightgauge.simulate.plan import ExportGroup, Plan, Slugs, VesselPlan
from nightgauge.simulate.suites import SUITES, Quality, instrument

START = datetime(2026, 4, 6, 6, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def make_vessel():
    """Build a vessel with steady wells; `changes` go to its physics."""

    def make(design=None, faults=(), signals=SUITES["full"], changes=None, **more):
        design = design or Design("A", gap_in=6.0, water_bpd=2500.0)
        steady = tuple(replace(w, wander=0.0) for w in wells(design, (1.0,), f"{design.id}-W", Slugs()))
        return VesselPlan(
            settings=settings(design),
            physics=replace(physics(design), **(changes or {})),
            wells=more.pop("wells", steady),
            instruments=tuple(instrument(s, design, design.id, Quality()) for s in signals),
            faults=tuple(faults),
            **more,
        )

    return make


@pytest.fixture(scope="session")
def make_plan():
    def make(*vessels, days=1, seed=7, exports=None, **more):
        ids = tuple(v.id for v in vessels)
        groups = exports if exports is not None else (ExportGroup("all", ids, per="day"),)
        return Plan("Invented", "America/Denver", START, days, seed, vessels, groups, **more)

    return make
