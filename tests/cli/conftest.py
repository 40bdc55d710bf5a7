"""A small field with a night behind it, for commands to be typed on."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline.nights import run_night
from nightgauge.pipeline.reading import read_exports
from nightgauge.store import Store

FIRST = datetime(2026, 5, 1, tzinfo=UTC)


@pytest.fixture
def judge() -> Callable[[Path, int], Field]:
    """Return a runner of one night: `judge(field_toml, days)` reads all and judges the days from the first on."""

    def run_it(toml: Path, days: int) -> Field:
        field = read_field(toml)
        store = Store(field.database)
        read_exports(field, store, lambda: datetime.now(UTC))
        run_night(field, store, FIRST + timedelta(days=days), lambda: datetime.now(UTC))
        return field

    return run_it
