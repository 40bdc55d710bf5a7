"""The frozen objects of a field."""

from collections.abc import Callable
from dataclasses import FrozenInstanceError

import pytest

from nightgauge.field.settings import Field, Vessel


def test_a_vessel_is_two_phase_when_an_oil_level_is_declared_and_no_interface() -> None:
    assert Vessel("V", "separator", normal_oil_level_m=1.0).is_two_phase
    assert not Vessel("V", "separator", normal_oil_level_m=1.0, normal_interface_m=0.5).is_two_phase
    assert not Vessel("V", "separator").is_two_phase


def test_a_field_knows_its_vessels_and_their_signals(read: Callable[..., Field]) -> None:
    field = read(tags="tag,vessel,signal,unit\nA,QB-101,oil_level,in\nB,QB-101,temperature,degF\n")
    assert field.vessel("QB-101") is field.vessels[0]
    assert field.vessel("QB-9") is None
    assert field.signals_of("QB-101") == {"oil_level", "temperature"}
    assert field.signals_of("QB-9") == frozenset()


def test_a_field_does_not_change(read: Callable[..., Field]) -> None:
    with pytest.raises(FrozenInstanceError, match="name"):
        read().name = "other"  # type: ignore[misc]
