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
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar

from prefect import flow, get_client, task
from prefect.artifacts import create_markdown_artifact, create_table_artifact
from prefect.blocks.abstract import NotificationBlock
from prefect.blocks.core import Block
from prefect.client.schemas.objects import State, TaskRun
from prefect.flows import Flow
from prefect.schedules import Cron, Schedule
from prefect.settings import get_current_settings
from prefect.tasks import Task

from nightgauge.errors import NightgaugeError

__all__ = [
    "Cron",
    "Schedule",
    "create_markdown_artifact",
    "create_table_artifact",
    "flow",
    "is_retryable",
    "runnable",
    "server_url",
    "silent_server",
    "task",
    "tell_block",
]

P = ParamSpec("P")
R = TypeVar("R")


def tell_block(name: str, subject: str, text: str) -> None:
    """Send a message through a notification block of the configured server, by "type/name"."""
    if server_url() is None or silent_server() is not None:
        raise ConnectionError("blocks live on a Prefect server, and none answers")
    found = Block.load(name)
    if not isinstance(found, NotificationBlock):
        raise TypeError(f"{name} is no notification block")
    sent: Any = found.notify(text, subject)  # done at once outside of an event loop, whatever its type says
    del sent


def server_url() -> str | None:
    """Return the address of the configured Prefect server, or None."""
    return get_current_settings().api.url


def silent_server() -> str | None:
    """Return why the configured server cannot be used, or None where it answers or none is configured."""
    if server_url() is None:
        return None
    with get_client(sync_client=True) as client:
        trouble = client.api_healthcheck()
    return None if trouble is None else f"{type(trouble).__name__}: {trouble}"


def runnable(made: Flow[P, R] | Task[P, R], *, with_server: bool) -> Callable[P, R]:
    """Return a flow or task to call: run by Prefect where a server keeps its record, else the plain function.

    Without a server Prefect would start a temporary one for each run: it takes ten seconds where it does not
    time out on a busy machine, keeps no history, and outlives a killed run. An unattended night needs none of that.
    """
    return made if with_server else made.fn


def is_retryable(task_: Task[..., object], run: TaskRun, state: State[object]) -> bool:
    """Return whether trying again can help: a busy database can become free, a wrong setting cannot."""
    try:
        state.result()
    except NightgaugeError as error:
        return error.retryable
    except Exception:  # whatever else went wrong is no matter of waiting
        return False
    return False
