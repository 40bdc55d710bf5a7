"""The lists that people keep beside the exports: test schedule, routing, inspections of anodes."""

from nightgauge.simulate.plan import Plan, WellPlan


def lists(plan: Plan) -> dict[str, str]:
    """Return name and text of each list that the plan has anything for.

    A test vessel that does not say which well is on test has a schedule; routing lists the wells that are turned in
    or off beside tests.
    """
    made = {"tests.csv": _tests(plan), "inspections.csv": _inspections(plan)}
    if plan.has_routing:
        made["routing.csv"] = _routing(plan)
    return {name: "\n".join([_HEADERS[name], *rows]) + "\n" for name, rows in made.items() if rows}


_HEADERS = {
    "tests.csv": "well,vessel,start,end",
    "inspections.csv": "date,vessel,anode,left,note",
    "routing.csv": "time,well,vessel",
}


def _tests(plan: Plan) -> list[str]:
    unsaid = {v.id for v in plan.vessels if v.settings.service == "test vessel" and "well_on_test" not in v.signals()}
    turns = sorted(
        (turn.start_s, turn.end_s, well.settings.id, well.test_vessel)
        for well in _wells(plan)
        if well.test_vessel in unsaid
        for turn in well.on_test
    )
    return [f"{well},{vessel},{_at(plan, start)},{_at(plan, end)}" for start, end, well, vessel in turns]


def _routing(plan: Plan) -> list[str]:
    rows: list[tuple[float, str, str]] = []
    for vessel in plan.vessels:
        for well in (w for w in vessel.wells if not w.on_test):
            name = well.settings.id
            # A well that is added says so: its [[well]] speaks of all times.
            rows += [(0.0, name, ""), (well.starts_s, name, vessel.id)] if well.starts_s > 0.0 else []
            for off in well.off:
                rows += [(off.start_s, name, ""), (off.end_s, name, vessel.id)]
    return [f"{_at(plan, second)},{well},{vessel}" for second, well, vessel in sorted(rows)]


def _inspections(plan: Plan) -> list[str]:
    seen = [one for vessel in plan.vessels for anode in vessel.anodes for one in anode.inspections]
    return [
        f"{one.at_utc.astimezone(plan.zone):%Y-%m-%d},{one.vessel},{one.anode},{one.left_fraction:.0%},{one.note}"
        for one in sorted(seen, key=lambda one: (one.at_utc, one.vessel, one.anode))
        if one.left_fraction is not None
    ]


def _wells(plan: Plan) -> list[WellPlan]:
    return [well for vessel in plan.vessels for well in vessel.wells]


def _at(plan: Plan, second: float) -> str:
    return plan.at(round(second)).astimezone(plan.zone).strftime("%Y-%m-%dT%H:%M")
