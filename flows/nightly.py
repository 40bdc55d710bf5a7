"""The main job: read what is new, derive, judge, keep the findings, write the running week's page.

    uv run flows/nightly.py FIELD_TOML [--until TIME] [--wait 10min] [--timeout 4h] [--log FILE]
                            [--engine dask [--scheduler ADDRESS]]

With a Prefect server the run, its tasks and their retries are kept there; without one the same functions
run by themselves. With the engine dask groups of vessels are derived by workers, which read the samples from the lake.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from importlib import import_module
from pathlib import Path
from types import ModuleType

import polars as pl

import notices
from bars import progress
from doorway import (
    NEWLY_REFUSED_OR_FAILED,
    clock,
    duration_s,
    guarded,
    night_line,
    parsed_with_engine,
    parser,
    read_lines,
    say,
)
from nightgauge.errors import NoGoodNight, SettingError
from nightgauge.field.calendar import default_until, parse_until
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field
from nightgauge.pipeline import keeping, nights, pages, reading
from nightgauge.pipeline.handing import HandOut
from nightgauge.pipeline.nights import NightReport
from nightgauge.pipeline.reading import ReadReport
from nightgauge.pipeline.steps import kept_step
from nightgauge.pipeline.watching import high_findings
from nightgauge.report.findings import as_json
from nightgauge.store import Store
from prefect_quiet import (
    create_markdown_artifact,
    create_table_artifact,
    flow,
    is_retryable,
    runnable,
    server_url,
    silent_server,
    task,
)
from run_log import logged
from time_limit import limited

RETRIES = 5
"""Tries at a database that somebody reads just then, on top of the store's own waiting. House choice."""
RETRY_DELAY_S = 10


@task(retries=RETRIES, retry_delay_seconds=RETRY_DELAY_S, retry_condition_fn=is_retryable)
def read_exports(field: Field) -> ReadReport:
    """Read every new or changed export."""
    store = Store(field.database)
    with kept_step(store, clock, "reading") as step:
        report = reading.read_exports(field, store, clock, progress())
        reading.note_reading(step, report)
    return report


@task(retries=RETRIES, retry_delay_seconds=RETRY_DELAY_S, retry_condition_fn=is_retryable)
def run_night(field: Field, until: datetime, hand_out: HandOut | None = None) -> NightReport:
    """Derive (here, or by workers), judge and keep one night."""
    return nights.run_night(field, Store(field.database), until, clock, progress(), hand_out)


@task(retries=RETRIES, retry_delay_seconds=RETRY_DELAY_S, retry_condition_fn=is_retryable)
def write_page(field: Field, until: datetime) -> Path:
    """Write the running week's page."""
    store = Store(field.database)
    with kept_step(store, clock, "page") as step:
        page = pages.write_weekly(field, store, until)
        step.note(page=str(page), size_bytes=page.stat().st_size)
    return page


@task(retries=RETRIES, retry_delay_seconds=RETRY_DELAY_S, retry_condition_fn=is_retryable)
def drop_old_samples(field: Field) -> int:
    """Drop the samples that are older than field.toml keeps them."""
    if field.keep_samples_s is None:
        return 0
    store = Store(field.database)
    with kept_step(store, clock, "dropping") as step:
        dropped = keeping.drop_old_samples(field, store)
        step.note(None, None, samples_dropped=dropped)
    return dropped


@flow(name="nightly")
def nightly(
    field_toml: Path,
    until_text: str | None = None,
    wait_s: float = 0.0,
    scheduler: str | None = None,
    *,
    with_server: bool = True,
) -> int:
    """Run the night of one field, with the nights that were missed; return the exit code.

    With the address of a Dask scheduler its workers derive the vessels.
    """
    field = read_field(field_toml)
    until = parse_until(until_text, field.zone) if until_text else default_until(field, clock())
    store = Store(field.database)
    with store.night_lock(wait_s):
        read = runnable(read_exports, with_server=with_server)(field)
        for line in read_lines(read):
            say(line)
        high_before = high_findings(store)["id"].implode()
        night = runnable(run_night, with_server=with_server)
        with helpers(scheduler, with_server=with_server) as hand_out:
            done = [night(field, due, hand_out) for due in nights.nights_due(field, store, until)]
        for report in done:
            say(night_line(report, field.time_zone))
        if not done:
            say("nothing came in since the last night: nothing to judge")
        page = runnable(write_page, with_server=with_server)(field, until)
        dropped = runnable(drop_old_samples, with_server=with_server)(field)
        if dropped:
            say(f"{dropped:,} samples dropped that are older than keep_samples in field.toml")
    if with_server:
        keep_artifacts(field, read, done)
    say(f"the week's page is {page}")
    if notices.is_wanted():
        fresh = high_findings(store).filter(~pl.col("id").is_in(high_before))
        send_notices(field, read, done, fresh, page)
    failed = read.count("refused") or any(report.failed for report in done)
    return NEWLY_REFUSED_OR_FAILED if failed else 0


def keep_artifacts(field: Field, read: ReadReport, done: list[NightReport]) -> None:
    """Leave the run's summary and the findings on the Prefect server."""
    lines = [*read_lines(read), *(night_line(night, field.time_zone) for night in done)]
    create_markdown_artifact("\n".join(f"- {line}" for line in lines), key="run-summary", description=field.name)
    with Store(field.database).reading() as reader:
        findings = as_json(reader.findings(), field)
    columns = ("vessel", "element", "kind", "priority", "confidence", "state", "onset", "first_reported", "summary")
    rows = [{column: finding[column] for column in columns} for finding in findings]
    create_table_artifact(rows, key="findings", description=field.name)


def send_notices(field: Field, read: ReadReport, done: list[NightReport], fresh: pl.DataFrame, page: Path) -> None:
    """Tell who wants to know of exports and vessels that failed, and of findings that are high since this run."""
    troubles = [f"refused {outcome.path}: {outcome.reason}" for outcome in read.files if outcome.state == "refused"]
    troubles += [f"{vessel} failed: {why}" for report in done for vessel, why in report.failed.items()]
    if troubles:
        notices.post(notices.incomplete(field.name, troubles, page))
    if fresh.height:
        notices.post(notices.new_high(field.name, fresh, page))


def has_server() -> bool:
    """Return whether Prefect shall keep the run; say so where a configured server does not answer."""
    if server_url() is None:
        return False
    trouble = silent_server()
    if trouble is not None:
        say(f"the Prefect server {server_url()} does not answer ({trouble}): the run goes on without it")
    return trouble is None


@dataclass(frozen=True)
class Asked:
    """What is asked of one run."""

    field: Path
    until: str | None = None
    wait: float = 0.0
    """How long to wait for another night. [s]"""
    timeout: float | None = None
    """How long the run may take. [s]"""
    log: str | None = None
    engine: str = "plain"
    scheduler: str | None = None


def arguments() -> Asked:
    """Return the command line's arguments."""
    made = parser("Read what is new, derive, judge, keep the findings, write the running week's page.")
    made.add_argument("--until", metavar="TIME", help="judge data before this time (default: the last field midnight)")
    made.add_argument("--wait", metavar="DURATION", type=duration_s, default=0.0, help="wait for another night to end")
    made.add_argument("--timeout", metavar="DURATION", type=duration_s, help="end a night that takes longer")
    made.add_argument("--log", metavar="FILE", help="append a log of the run as JSON lines; - is standard error")
    return Asked(**vars(parsed_with_engine(made)))


def main() -> int:
    """Run the night that the command line asks for."""
    return attended(arguments())


def attended(asked: Asked) -> int:
    """Run a night with its log and its time limit; tell who wants to know where it fails."""

    def too_late(error: NoGoodNight) -> None:
        notices.post(notices.failed(notices.name_of(asked.field), error))

    with logged(asked.log), notices.told_if_it_fails(asked.field), limited(asked.timeout, too_late):
        return run(asked)


def run(asked: Asked) -> int:
    """Run the night, here or with workers."""
    field = read_field(asked.field)  # A wrong field or time is told before Prefect has a say.
    if asked.until:
        parse_until(asked.until, field.zone)
    with_server = has_server()
    if asked.engine == "plain":
        return runnable(nightly, with_server=with_server)(asked.field, asked.until, asked.wait, with_server=with_server)
    dask = dask_workers()
    dask.require_lake(field)
    with dask.scheduler_at(asked.scheduler) as address:
        on_dask = runnable(nightly.with_options(task_runner=dask.runner_on(address)), with_server=with_server)
        return on_dask(asked.field, asked.until, asked.wait, address, with_server=with_server)


@contextmanager
def helpers(scheduler: str | None, *, with_server: bool) -> Iterator[HandOut | None]:
    """Give the workers of a scheduler, or None where there is none."""
    if scheduler is None:
        yield None
        return
    with dask_workers().workers(scheduler, with_server=with_server) as crew:
        yield crew


def dask_workers() -> ModuleType:
    """Return the module that knows Dask, which not every installation has."""
    try:
        return import_module("dask_workers")
    except ImportError as error:
        raise SettingError(
            f"--engine dask needs libraries that are not installed ({error}): nightgauge[dask]"
        ) from error


if __name__ == "__main__":
    sys.exit(guarded(main))
