"""The README says what the code does: its tables, its commands, its first lines."""

import importlib.util
import re
from pathlib import Path

from nightgauge.cli.app import HOMES
from nightgauge.field.read import read_field

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


def test_the_settings_it_shows_are_accepted(tmp_path: Path) -> None:
    (shown,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    head = 'name = "Q"\ntime_zone = "UTC"\ntags = "tags.csv"\nstreams = ["*.csv"]\n'
    (tmp_path / "field.toml").write_text(head + shown, encoding="utf-8")
    (tmp_path / "tags.csv").write_text("tag,vessel,signal,unit\nQB101_AI_1,QB-101,anode_current,mA\n", encoding="utf-8")
    field = read_field(tmp_path)
    assert field.prices is not None
    assert (len(field.wells), len(field.anodes), len(field.tanks)) == (1, 1, 1)
