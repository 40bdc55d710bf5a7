"""Groups of vessels on Dask workers: through Prefect's Dask task runner where a server keeps the run, else straight.

Workers read samples from the lake and send rows back; the night's own process is the only one that writes. A worker
that dies costs its group's work: the scheduler gives the group to another worker.
"""

import os

# Read where the libraries are imported, here and in each worker. What goes wrong comes back with the results.
os.environ.setdefault("DASK_LOGGING__DISTRIBUTED", "critical")


import logging
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from distributed import Client, LocalCluster, get_client
from prefect_dask.task_runners import DaskTaskRunner

from nightgauge.errors import SettingError
from nightgauge.field.settings import Field
from prefect_quiet import task

T = TypeVar("T")
R = TypeVar("R")

RETRIES = 2
"""More tries at a group whose work failed: an object store may be short of breath. House choice."""
AHEAD = 2
"""Groups handed out for each thread of a worker. House choice: one under way, one waiting, no more in memory."""
ANSWER_S = 30.0
"""How long a scheduler may take to answer. [s] House choice."""


class _Coming(Protocol):
    """A result that is being worked on."""

    def result(self) -> Any:
        """Wait for it."""
        ...


@dataclass(frozen=True)
class Workers:
    """The workers of one scheduler, as `nightgauge.pipeline.handing.HandOut`."""

    scheduler: str
    ahead: int
    with_server: bool

    def __call__(self, work: Callable[[T], R], tasks: Iterable[T]) -> Iterator[R]:
        """Yield what work makes of each task, in the order of the tasks."""
        submit = self._through_prefect(work) if self.with_server else self._straight(work)
        running: deque[_Coming] = deque()
        for one in tasks:
            running.append(submit(one))
            if len(running) >= self.ahead:
                yield running.popleft().result()
        while running:
            yield running.popleft().result()

    def _straight(self, work: Callable[[T], R]) -> Callable[[T], _Coming]:
        client = get_client(self.scheduler)
        return lambda one: client.submit(work, one, pure=False, retries=RETRIES)

    def _through_prefect(self, work: Callable[[T], R]) -> Callable[[T], _Coming]:
        # The function keeps its own name and place, so that a worker needs the package and not the flows.
        return task(retries=RETRIES)(work).submit


@contextmanager
def scheduler_at(address: str | None) -> Iterator[str]:
    """Give the address of a scheduler: the one that is asked for, or of workers on this machine while this is open.

    Raises
    ------
    SettingError
        If no scheduler answers at the address, or it has no workers.

    """
    if address is None:
        with _local_cluster() as cluster:
            yield str(cluster.scheduler_address)
        return
    with _client(address) as client:
        if not client.nthreads():
            raise SettingError(f"the Dask scheduler {address} has no workers; start some: `dask worker {address}`")
    yield address


@contextmanager
def workers(scheduler: str, *, with_server: bool) -> Iterator[Workers]:
    """Give the workers of a scheduler to hand out work to."""
    with _client(scheduler) as client:
        yield Workers(scheduler, AHEAD * sum(client.nthreads().values()), with_server)


def _client(scheduler: str) -> Client:
    try:
        return Client(scheduler, timeout=ANSWER_S)
    except (OSError, ValueError) as error:
        raise SettingError(
            f"no Dask scheduler answers at {scheduler} ({error}); start one with `dask scheduler`"
        ) from error


def runner_on(scheduler: str) -> DaskTaskRunner:
    """Return Prefect's task runner on the workers of a scheduler."""
    return DaskTaskRunner(address=scheduler)


def _local_cluster() -> LocalCluster:
    """Return one single-threaded worker a core, on loopback only and silent."""
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # Prefect has set levels of its own
    return LocalCluster(
        n_workers=os.cpu_count() or 1, threads_per_worker=1, processes=True, host="127.0.0.1",
        dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL,
    )  # fmt: skip


def require_lake(field: Field) -> None:
    """Refuse to hand out vessels whose samples no worker can read."""
    if field.samples != "lake":
        raise SettingError(
            f"--engine dask needs samples that workers can read, and {field.path.name} keeps them in the database:"
            ' set samples = "lake" there, and lake = "..." to a place that every worker reaches'
        )
