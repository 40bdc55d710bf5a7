"""Prefect as an unattended run needs it: quiet, offline, and imported in this one place.

The settings must stand in the environment before Prefect is imported, also for the temporary server that
Prefect starts where none is configured. What the user has set himself is left alone.
"""

import os

for _name, _value in {
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "DO_NOT_TRACK": "1",
    "PREFECT_LOGGING_LEVEL": "WARNING",
}.items():
    os.environ.setdefault(_name, _value)

# ruff: noqa: E402  the environment comes first, see above
from prefect import flow, task
from prefect.artifacts import create_markdown_artifact, create_table_artifact
from prefect.client.schemas.objects import State, TaskRun
from prefect.schedules import Cron
from prefect.settings import get_current_settings
from prefect.tasks import Task

from nightgauge.errors import NightgaugeError

__all__ = ["Cron", "create_markdown_artifact", "create_table_artifact", "flow", "has_server", "is_retryable", "task"]


def has_server() -> bool:
    """Return whether a server is configured that keeps artifacts after the run."""
    return get_current_settings().api.url is not None


def is_retryable(task_: Task[..., object], run: TaskRun, state: State[object]) -> bool:
    """Return whether trying again can help: a busy database can become free, a wrong setting cannot."""
    try:
        state.result()
    except NightgaugeError as error:
        return error.retryable
    except Exception:  # whatever else went wrong is no matter of waiting
        return False
    return False
