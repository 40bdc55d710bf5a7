from datetime import timedelta

import numpy as np

from nightgauge.detect import find
from nightgauge.field.settings import Outage


def test_a_kind_is_judged_when_its_signals_were_known_last_day(sound_snap):
    judgement = find(sound_snap().history())
    assert {"float_stuck_closed", "oil_valve_setpoint_drift", "interface_setpoint_step"} <= judgement.judged
    assert "dump_leaking" not in judgement.judged
    assert "water total" in judgement.unjudged["dump_leaking"] or "water rate" in judgement.unjudged["dump_leaking"]


def test_silence_since_a_day_is_told_as_the_reason(sound_snap):
    made = sound_snap(days=10)
    quiet = np.where(made.t > 24 * 8, 0.0, 1.0)
    for columns in made.signals.values():
        columns["coverage"] = quiet
    judgement = find(made.history())
    assert "float_sticking" not in judgement.judged
    assert judgement.unjudged["float_sticking"].startswith("no interface level since Tue 14 Apr")


def test_a_vessel_out_of_service_judges_nothing(sound_snap):
    made = sound_snap(days=10)
    end = made.history().until
    made.outages = (Outage("V1", end - timedelta(days=1), end),)
    assert find(made.history()).judged == frozenset()
