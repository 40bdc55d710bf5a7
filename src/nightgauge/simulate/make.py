"""Run a plan and write its field folder."""

from collections.abc import Iterator
from pathlib import Path

import polars as pl

from nightgauge.simulate.anodes import anode_samples, measured
from nightgauge.simulate.curves import curves
from nightgauge.simulate.exports import write_exports
from nightgauge.simulate.folder import field_toml, tags_csv
from nightgauge.simulate.inflow import Inflow, inflow
from nightgauge.simulate.instruments import KEPT, Historian
from nightgauge.simulate.lists import lists
from nightgauge.simulate.plan import Plan, WellPlan
from nightgauge.simulate.plant import Plant, Trace
from nightgauge.simulate.readings import Carried, View, move_on
from nightgauge.simulate.truth import truth_rows
from nightgauge.simulate.vessels import statics

_PLANT_PURPOSE, _NOISE_PURPOSE = 2, 3
_STRETCH_MIN = 1440
"""A day at a time: traces of longer stretches of a fleet do not fit in memory. [min]"""


def simulate_field(out: Path, plan: Plan) -> Path:
    """Simulate a plan and write its field folder.

    Parameters
    ----------
    out : Path
        Folder to write into; made where it is missing.
    plan : Plan
        What to simulate.

    Returns
    -------
    Path
        The field.toml that was written.

    """
    out.mkdir(parents=True, exist_ok=True)
    write_exports(out / "streams", plan, simulate_samples(plan), _names(plan))
    truth_rows(plan).write_csv(out / "truth.csv")
    for name, text in lists(plan).items():
        (out / name).write_text(text, encoding="utf-8")
    (out / "tags.csv").write_text(tags_csv(plan), encoding="utf-8")
    toml = out / "field.toml"
    toml.write_text(field_toml(plan), encoding="utf-8")
    return toml


def traces(plan: Plan) -> Iterator[tuple[Trace, Inflow]]:
    """Step the plant through the plan, a day at a time."""
    flows = inflow(plan)
    plant = Plant(statics(plan.vessels), plan.step_s, plan.rng(_PLANT_PURPOSE))
    for first in range(0, plan.minutes, _STRETCH_MIN):
        minutes = min(_STRETCH_MIN, plan.minutes - first)
        yield plant.run(flows, curves(plan, first, minutes), first, minutes), flows


def simulate_samples(plan: Plan) -> pl.DataFrame:
    """Return what the historian keeps of a plan (KEPT): the plants one after the other, then the anodes."""
    kept, tags = [], 0
    for plant in plan.by_plant():
        kept.append(_of_plant(plant).with_columns(pl.col("tag") + tags))
        tags += sum(len(vessel.instruments) for vessel in plant.vessels)
    return pl.concat([*kept, anode_samples(plan, tags)]).cast(KEPT)  # type: ignore[arg-type]


def _of_plant(plan: Plan) -> pl.DataFrame:
    historian = Historian(tuple((v, i) for v in plan.vessels for i in v.instruments))
    carried = [Carried() for _ in plan.vessels]
    rng = plan.rng(_NOISE_PURPOSE)
    kept = []
    for trace, flows in traces(plan):
        views = [
            View(vessel, trace, flows, place, carried[place], wells_on_test(plan, vessel.id))
            for place, vessel in enumerate(plan.vessels)
        ]
        kept.append(historian.keep(views, rng))
        for view in views:
            move_on(view)
    return pl.concat(kept)


def wells_on_test(plan: Plan, vessel: str) -> tuple[WellPlan, ...]:
    """Return the wells that take turns on a test vessel."""
    return tuple(w for v in plan.vessels for w in v.wells if w.test_vessel == vessel)


def _names(plan: Plan) -> list[list[str]]:
    """Return, tag by tag, the texts of its numbers 0, 1, ...; empty where the historian keeps numbers."""
    return [
        [w.settings.id for w in wells_on_test(plan, v.id)] if i.signal == "well_on_test" else list(i.states or ())
        for v in plan.vessels
        for i in v.instruments
    ] + [[] for _ in measured(plan)]
