"""Thresholds set in field.toml, against what the kinds declare."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest

from nightgauge.field.limits import read_limits
from nightgauge.field.problems import Scope
from nightgauge.field.settings import Field
from nightgauge.field.tables import Place
from nightgauge.vocabulary.kinds import KINDS

Read = Callable[..., Field]
Problems = Callable[..., list[str]]
PLACE = Place(ZoneInfo("UTC"))
WRITTEN = {
    "number": (2, 2.0),
    "fraction": ("2 %", 0.02),
    "duration": ("2 h", 7200.0),
    "length": ("2 m", 2.0),
    "pressure difference": ("2 kPa", 2.0),
    "concentration": ("2 mg/L", 2.0),
}
"""A value of every dimension in which the kinds state a limit, as written and as kept."""

ALL_LIMITS = [(kind, limit) for kind, declared in KINDS.items() for limit in declared.limits]


@pytest.mark.parametrize(("kind", "limit"), ALL_LIMITS, ids=lambda part: getattr(part, "name", part))
def test_every_limit_that_a_kind_declares_can_be_set(kind: str, limit: object) -> None:
    scope = Scope("field.toml")
    name, dimension = limit.name, limit.dimension  # type: ignore[attr-defined]
    written, kept = WRITTEN[dimension]
    limits = read_limits({kind: {name: written}}, PLACE, scope)
    assert scope.problems == []
    assert limits == {kind: {name: pytest.approx(kept)}}


def test_limits_of_field_and_vessel_are_kept_apart(read: Read) -> None:
    field = read(
        "[vessel.limits.dump_leaking]\nleak_share = '10 %'\n[limits.dump_leaking]\nleak_share = 0.07\ndeviations = 6\n"
    )
    assert field.limits == {"dump_leaking": {"leak_share": 0.07, "deviations": 6.0}}
    assert field.vessels[0].limits == {"dump_leaking": {"leak_share": pytest.approx(0.1)}}


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("[limits.dump_leeking]\nleak_share = '8 %'\n", "limits.dump_leeking, kind: found"),
        ("[limits.dump_leeking]\nleak_share = '8 %'\n", "did you mean dump_leaking?"),
        ("[limits.dump_leaking]\nleek_share = '8 %'\n", "limits.dump_leaking, leek_share: found an unknown key"),
        ("[limits.dump_leaking]\nleek_share = '8 %'\n", "did you mean leak_share?"),
        ("[limits.dump_leaking]\nleak_share = '8 psi'\n", "not a unit of fraction"),
        ("[limits.dump_leaking]\nleak_share = '-8 %'\n", "0 or more"),
        ("[limits.dump_leaking]\ndeviations = '5'\n", "write it without quotes"),
        ("[limits.dump_leaking]\nleast_time = 12\n", "write number and unit between quotes"),
        ("[limits]\ndump_leaking = 5\n", "expected a table [limits.dump_leaking]"),
        ("[vessel.limits.dump_leaking]\nleak_share = true\n", "vessel QB-101, limits.dump_leaking, leak_share"),
    ],
)
def test_a_wrong_limit_is_told_with_kind_and_name(problems: Problems, lines: str, says: str) -> None:
    found = problems(lines)
    assert len(found) == 1
    assert says in found[0]
