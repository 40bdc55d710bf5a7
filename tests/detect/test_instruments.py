import numpy as np

from nightgauge.detect import instruments

FROM_H = 20 * 24


def _frozen(made, name, until_h=None):
    still = (made.t >= FROM_H) & (made.t < (made.n if until_h is None else until_h))
    columns = made.signals[name]
    columns["changes"] = np.where(still, 0, 30)
    for key in ("mean", "minimum", "maximum"):
        columns[key] = np.where(still, 1.12, columns[key])
    return made


def test_a_level_that_stands_still_while_the_switch_shows_dumps_is_frozen(sound_snap):
    (found,) = instruments.find(_frozen(sound_snap(), "interface_level").history(FROM_H + 24))
    assert (found.kind, found.element) == ("instrument_frozen", "instrument:interface_level")


def test_a_level_that_stands_still_while_nothing_moves_is_a_quiet_process(sound_snap):
    made = _frozen(sound_snap(last_dump_h=FROM_H), "interface_level")
    made.signal("vessel_pressure", 314.0, np.where(made.t >= FROM_H, 0.2, 4.0))
    assert [c for c in instruments.find(made.history(FROM_H + 24)) if c.kind == "instrument_frozen"] == []


def test_a_reading_that_moves_again_was_frozen_until_then(sound_snap):
    (found,) = instruments.find(_frozen(sound_snap(), "interface_level", FROM_H + 30).history())
    assert found.ended.timestamp() == sound_snap().history().start_s + (FROM_H + 30) * 3600


def test_a_silent_signal_is_a_gap_of_its_own_and_low_until_it_has_lasted(sound_snap):
    made = sound_snap()
    made.signals["interface_level"]["coverage"] = np.where(made.t >= FROM_H, 0.0, 1.0)
    (young,) = instruments.find(made.history(FROM_H + 24))
    (old,) = instruments.find(made.history(FROM_H + 72))
    assert (young.kind, young.element, young.priority) == ("data_gap", "instrument:interface_level", "low")
    assert old.priority == "medium"


def test_silence_of_all_signals_is_one_gap_of_the_vessel(sound_snap):
    made = sound_snap()
    for columns in made.signals.values():
        columns["coverage"] = np.where(made.t >= FROM_H, 0.0, 1.0)
    (found,) = instruments.find(made.history(FROM_H + 24))
    assert found.element == "vessel"


def test_a_few_hours_of_silence_say_nothing(sound_snap):
    made = sound_snap()
    made.signals["interface_level"]["coverage"] = np.where((made.t >= FROM_H) & (made.t < FROM_H + 8), 0.0, 1.0)
    assert instruments.find(made.history()) == []


def test_bad_samples_for_most_of_a_day_are_a_noisy_reading(sound_snap):
    made = sound_snap()
    made.signals["vessel_pressure"]["bad_samples"] = np.where(made.t >= FROM_H, 60, 0)
    (found,) = instruments.find(made.history(FROM_H + 24))
    assert (found.kind, found.priority) == ("instrument_noisy", "low")
