"""Faults of wells and anodes in random fleets: only where asked for, and beside what a seed gives anyway."""

from dataclasses import replace
from datetime import timedelta

import pytest

from nightgauge.derive.anodes import anode_status
from nightgauge.field.settings import Field
from nightgauge.simulate import random_fleet
from nightgauge.simulate.faults import ASKED, KINDS
from nightgauge.vocabulary.frames import SIGNAL_HOURS
from nightgauge.vocabulary.kinds import KINDS as TOLD


def test_no_fleet_has_them_unasked():
    assert set(KINDS).isdisjoint(ASKED)
    assert set(ASKED) <= set(TOLD)
    plan = random_fleet(30, 42, seed=6)
    assert not any(v.anodes for v in plan.vessels)
    assert not {f.kind for v in plan.vessels for f in v.faults} & set(ASKED)


def test_asking_for_them_beside_the_others_changes_no_other_vessel():
    usual = random_fleet(30, 42, seed=6, faults=KINDS)
    asked = random_fleet(30, 42, seed=6, faults=[*KINDS, *ASKED])
    for before, after in zip(usual.vessels, asked.vessels, strict=True):
        assert replace(after, anodes=(), faults=before.faults) == replace(before, anodes=())
        if before.faults:
            assert after.faults == before.faults
    assert {f.kind for v in asked.vessels for f in v.faults} & set(ASKED)


def test_a_decline_befalls_a_well_of_a_test_vessel_within_its_tests():
    found = [(v, f) for v in random_fleet(200, 42, seed=6, faults=["well_test_decline"]).vessels for f in v.faults]
    assert len(found) > 3
    for vessel, fault in found:
        assert vessel.settings.service == "test vessel"
        well = next(w for w in vessel.wells if w.settings.id == fault.part)
        assert sum(t.end_s < fault.start_s for t in well.on_test) >= 2
        assert sum(t.start_s > fault.start_s for t in well.on_test) >= 2


@pytest.mark.parametrize("kind", [k for k in ASKED if k.startswith("anode_")])
def test_an_anodes_fault_befalls_one_of_the_vessels_anodes(kind):
    plan = random_fleet(20, 42, seed=6, faults=[kind])
    faults = [(v, f) for v in plan.vessels for f in v.faults]
    assert 5 < len(faults) < 20
    assert all(f.kind == kind and f.part in [a.settings.id for a in v.anodes] for v, f in faults)
    assert plan.exports[-1].holds == "anodes"
    assert all(v.anodes for v in plan.vessels)


def test_anodes_have_left_what_was_drawn(tmp_path):
    plan = random_fleet(20, 42, seed=6, faults=["anode_spent"])
    bars = [(v, a) for v in plan.vessels for a in v.anodes]
    settings = tuple(v.settings for v in plan.vessels)
    anodes = tuple(a.settings for _, a in bars)
    field = Field(tmp_path, "F", "UTC", (), (), settings, anodes=anodes)
    hours = SIGNAL_HOURS.build(
        {
            "vessel": [v.id for v, _ in bars for _ in range(48)],
            "signal": [f"anode_current:{a.settings.id}" for _, a in bars for _ in range(48)],
            "hour_utc": [plan.end - timedelta(hours=48 - n) for _ in bars for n in range(48)],
            "coverage": [1.0] * 48 * len(bars),
            "mean": [a.current_a for _, a in bars for _ in range(48)],
        }
    )
    left = {(r["vessel"], r["anode"]): r["left_fraction"] for r in anode_status(field, hours, plan.end).to_dicts()}
    for vessel, bar in bars:
        spent = [f.size for f in vessel.faults if f.part == bar.settings.id]
        if spent:
            assert left[vessel.id, bar.settings.id] == pytest.approx(spent[0], abs=2e-3)
        else:
            assert left[vessel.id, bar.settings.id] > 0.39
