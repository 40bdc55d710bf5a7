"""How a mistake is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.field.problems import Scope, nearest, remedy_for, shown


def test_scopes_within_each_other_share_their_problems() -> None:
    scope = Scope("field.toml")
    scope.inside("vessel V").inside("water_dump").add("cv", "-1", "more than 0", "correct cv")
    scope.add("name", "3", "a text", "correct name")
    assert [str(problem) for problem in scope.problems] == [
        "field.toml, vessel V, water_dump, cv: found -1, expected more than 0; correct cv",
        "field.toml, name: found 3, expected a text; correct name",
    ]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("8 ft", '"8 ft"'),
        ("", '""'),
        ("a\nb", r'"a\nb"'),
        ("it's", '"it\'s"'),
        (True, "true"),
        (0.5, "0.5"),
        (10**400, "a whole number of very many digits"),
        ([], "a list of 0"),
        ({}, "a table"),
    ],
)
def test_a_found_value_is_quoted_on_one_line(value: object, text: str) -> None:
    assert shown(value) == text


@given(st.one_of(st.text(), st.integers(), st.floats(), st.booleans()))
def test_a_found_value_is_short_and_printable(value: object) -> None:
    assert len(shown(value)) <= 90
    assert shown(value).isprintable()


def test_the_nearest_word_is_found_in_any_case() -> None:
    assert nearest("Open_At", ["opens_at", "closes_at"]) == "opens_at"
    assert nearest("qb-101", ["QB-101", "QB-202"]) == "QB-101"
    assert nearest("zzz", ["opens_at"]) is None
    assert remedy_for("zzz", ["opens_at"]) == "correct it or take it out"
