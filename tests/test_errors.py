"""The tree of errors: exit codes by branch, facts kept, messages in one line."""

import inspect
import re

import pytest

from nightgauge import errors
from nightgauge.errors import FieldFolderError, NightgaugeError, Problem, SettingError

# Exit codes of the command line, fixed by the design: 2 the folder or arguments, 3 an export or vessel,
# 4 the database, 5 no good night in time, 1 a bug.
EXIT_CODES = {
    "NightgaugeError": 1,
    "SettingError": 2,
    "FieldFolderError": 2,
    "SourceError": 3,
    "StoreError": 4,
    "StoreMissing": 4,
    "StoreBusy": 4,
    "StoreNotWritable": 4,
    "StoreDamaged": 4,
    "StoreNewer": 4,
    "NoGoodNight": 5,
    "ProgrammerError": 1,
}
CLASSES = {name: cls for name, cls in inspect.getmembers(errors, inspect.isclass) if issubclass(cls, Exception)}


def test_every_error_has_one_root_and_its_branchs_exit_code() -> None:
    assert {name: cls.exit_code for name, cls in CLASSES.items()} == EXIT_CODES
    assert all(issubclass(cls, NightgaugeError) for cls in CLASSES.values())


def test_the_tree_drawn_in_the_module_is_the_tree() -> None:
    drawn = re.findall(r"(?:[├└]── |^    )([A-Z]\w+)", errors.__doc__ or "", flags=re.MULTILINE)
    assert sorted(drawn) == sorted(CLASSES)
    assert all(cls.__doc__ for cls in CLASSES.values())


def test_only_a_busy_database_is_worth_another_try() -> None:
    assert [name for name, cls in CLASSES.items() if cls.retryable] == ["StoreBusy"]


PROBLEMS = (
    Problem("field.toml", "vessel V, cv", "-1", "more than 0", "correct cv"),
    Problem("tags.csv", "line 2, unit", '"psi"', "a unit of length", "correct unit"),
)


def test_a_problem_says_what_where_found_expected_and_what_to_do() -> None:
    assert str(PROBLEMS[0]) == "field.toml, vessel V, cv: found -1, expected more than 0; correct cv"


def test_a_folders_error_keeps_its_problems_and_tells_them_line_by_line() -> None:
    with pytest.raises(SettingError, match=r"correct cv\ntags\.csv, line 2") as raised:
        raise FieldFolderError(list(PROBLEMS))
    assert isinstance(raised.value, FieldFolderError)
    assert raised.value.problems == PROBLEMS
    assert str(raised.value).count("\n") == 1
