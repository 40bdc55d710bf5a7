"""The README says what the code does: its tables, its commands, its first lines."""

import importlib.util
import re
from pathlib import Path

from nightgauge.cli.app import HOMES

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _tables_module():
    spec = importlib.util.spec_from_file_location("readme_tables", ROOT / "tests" / "readme_tables.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_its_tables_are_made_from_the_code_as_it_is() -> None:
    assert _tables_module().with_tables(README) == README, "run: uv run python tests/readme_tables.py"


def test_it_shows_every_command() -> None:
    assert [name for name in HOMES if f"nightgauge {name}" not in README] == []


def test_every_command_it_shows_exists() -> None:
    shown = set(re.findall(r"uv run nightgauge (\w+)", README))
    assert shown <= set(HOMES)


def test_continuous_integration_runs_the_test_command_that_it_gives() -> None:
    given = re.search(r"^    pip install uv && (uv run --group dev pytest.*)$", README, re.MULTILINE)
    assert given is not None
    assert f"step {given[1]}\n" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
