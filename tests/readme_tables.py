"""Makes the tables of README.md that come from the code: run this file to write them anew.

uv run python tests/readme_tables.py
"""

from pathlib import Path

from nightgauge.vocabulary.frames import STORED_FRAMES
from nightgauge.vocabulary.kinds import KINDS

README = Path(__file__).resolve().parent.parent / "README.md"


def glossary() -> str:
    """Return the database's tables and columns, one fold a table."""
    parts = []
    for frame in STORED_FRAMES:
        rows = "\n".join(f"| `{c.name}` | {c.unit} | {c.meaning} |" for c in frame.columns)
        parts.append(
            f"<details><summary><code>{frame.name}</code>: {frame.row}</summary>\n\n"
            f"| column | unit | meaning |\n|---|---|---|\n{rows}\n\n</details>\n"
        )
    return "\n".join(parts)


def kinds() -> str:
    """Return the kinds of finding as one table."""
    lines = ["| kind | what it says | part | ISO 14224 |", "|---|---|---|---|"]
    for kind in KINDS.values():
        lines.append(f"| `{kind.name}` | {kind.says} | {kind.element} | {kind.failure_mode or ''} |")
    return "\n".join(lines) + "\n"


TABLES = {"glossary": glossary, "kinds": kinds}


def with_tables(readme: str) -> str:
    """Return the README with its tables made anew."""
    for name, made in TABLES.items():
        before, rest = readme.split(f"<!-- {name}: begin", 1)
        mark, rest = rest.split("-->\n", 1)
        _, after = rest.split(f"<!-- {name}: end -->", 1)
        readme = f"{before}<!-- {name}: begin{mark}-->\n\n{made()}\n<!-- {name}: end -->{after}"
    return readme


if __name__ == "__main__":
    README.write_text(with_tables(README.read_text(encoding="utf-8")), encoding="utf-8")
