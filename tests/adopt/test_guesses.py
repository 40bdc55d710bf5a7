"""A small fleet made by plain arithmetic in `conftest`, not by the simulator on which the scores were looked at."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import polars as pl
import pytest

from nightgauge.adopt import Guess, Readings, guesses_of, number_states, seen_of

Fleet = Mapping[str, tuple[str, str, Any]]


def silent(what: str, done: int, total: int) -> None:
    """Tell nobody."""


def guessed(readings: Readings) -> dict[str, Guess]:
    return {guess.tag: guess for guess in guesses_of(readings, seen_of(readings, silent))}


@pytest.fixture(scope="module")
def named(fleet: Fleet, make_readings: Callable[..., Readings]) -> dict[str, Guess]:
    return guessed(make_readings({tag: values for tag, (_, _, values) in fleet.items()}))


def test_with_names_every_tag_gets_its_signal(named: dict[str, Guess], fleet: Fleet) -> None:
    assert {tag: guess.signal for tag, guess in named.items()} == {tag: of[1] for tag, of in fleet.items()}


def test_tags_of_one_vessel_stand_together_and_apart_from_others(named: dict[str, Guess], fleet: Fleet) -> None:
    homes = {(fleet[tag][0], guess.vessel) for tag, guess in named.items()}
    assert len(homes) == len({vessel for vessel, _, _ in fleet.values()})


def test_without_names_behaviour_tells_dump_meters_and_level(
    fleet: Fleet, make_readings: Callable[..., Readings]
) -> None:
    letters = iter("QXJVKZWYBNUOHRMEDGCSF")
    tags = {tag: next(letters) * 3 for tag in fleet}
    found = guessed(make_readings({tags[tag]: values for tag, (_, _, values) in fleet.items()}))
    surely = {"interface_level", "water_dump_open", "water_total", "oil_total", "temperature"}
    for tag, (vessel, signal, _) in fleet.items():
        if signal in surely:
            assert found[tags[tag]].signal == signal
        if signal in surely - {"temperature"}:
            level = next(other for other, of in fleet.items() if of[:2] == (vessel, "interface_level"))
            assert found[tags[tag]].vessel == found[tags[level]].vessel


def test_a_tag_that_moves_with_another_vessel_than_its_name_says_is_told(
    fleet: Fleet, make_readings: Callable[..., Readings]
) -> None:
    swapped = {"FQI-101W": "FQI-102W", "FQI-102W": "FQI-101W"}
    found = guessed(make_readings({swapped.get(tag, tag): values for tag, (_, _, values) in fleet.items()}))
    assert found["FQI-102W"].vessel == found["LIT-101A"].vessel
    assert "its name says another vessel" in found["FQI-102W"].told[0]
    assert found["LIT-101A"].told == ()


def test_the_order_of_tags_changes_no_guess(
    fleet: Fleet, named: dict[str, Guess], make_readings: Callable[..., Readings]
) -> None:
    turned = guessed(make_readings({tag: fleet[tag][2] for tag in reversed(fleet)}))
    assert {tag: guess.signal for tag, guess in turned.items()} == {tag: guess.signal for tag, guess in named.items()}


def test_another_unit_changes_no_totaliser_switch_or_level(
    fleet: Fleet, make_readings: Callable[..., Readings]
) -> None:
    scaled = {
        tag: values if signal == "water_dump_open" else values * 25.4 for tag, (_, signal, values) in fleet.items()
    }
    found = guessed(make_readings(scaled))
    for tag, (_, signal, _) in fleet.items():
        if signal != "temperature":
            assert found[tag].signal == signal


def test_words_of_a_switch_are_numbered_by_what_they_mean() -> None:
    frame = pl.DataFrame(
        {"tag_id": [0, 0], "time_s": [0.0, 60.0], "value": [0.0, 1.0]},
        schema={"tag_id": pl.Int32, "time_s": pl.Float64, "value": pl.Float64},
    )
    numbered = number_states(Readings(("A",), frame, {0: ("OPEN", "SHUT")}))
    assert numbered.samples["value"].to_list() == [1.0, 0.0]


@pytest.mark.parametrize("values", [np.zeros(3), np.full(2000, 4.0), np.array([1.0])])
def test_little_or_no_movement_is_no_error(values: Any, make_readings: Callable[..., Readings]) -> None:
    (guess,) = guessed(make_readings({"A-1": values})).values()
    assert guess.confidence < 0.8


def test_what_behaves_like_other_signals_is_never_sure_without_a_word_for_it(
    fleet: Fleet, named: dict[str, Guess], make_readings: Callable[..., Readings]
) -> None:
    nameless = guessed(make_readings({f"{at:03d}": values for at, (_, _, values) in enumerate(fleet.values())}))
    shared = {"inlet_pressure", "water_downstream_pressure", "oil_level", "water_rate", "oil_rate", "gas_rate"}
    assert all(guess.confidence < 0.8 for guess in nameless.values() if guess.signal in shared)
    assert all(named[tag].confidence >= 0.8 for tag, (_, signal, _) in fleet.items() if signal == "water_total")


def test_of_two_tags_that_move_together_the_one_that_its_own_vessel_holds_stays(
    fleet: Fleet, make_readings: Callable[..., Readings]
) -> None:
    # The dump switch of 101 alone bears 102's number: it comes home, and what it moves with is not sent after it.
    found = guessed(
        make_readings({tag.replace("ZSO-101W", "ZSO-109W"): values for tag, (_, _, values) in fleet.items()})
    )
    assert all(found[tag].told == () for tag in found if tag != "ZSO-109W")
    assert found["ZSO-109W"].vessel == found["LIT-101A"].vessel
    assert "moves with" in found["ZSO-109W"].told[0]
