"""Commands about the field folder and the kinds of finding: check, explain."""

import json
from datetime import datetime, timedelta
from typing import Annotated, Any

import typer

from nightgauge.cli.arguments import As, FieldToml, clock
from nightgauge.cli.printing import Format, say, show, table
from nightgauge.errors import SettingError
from nightgauge.field.calendar import default_until
from nightgauge.field.check import judgeable, missing_for_prices, missing_of, warnings_of
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field, Vessel
from nightgauge.pipeline.hearing import Heard, heard
from nightgauge.store import Store
from nightgauge.units import to_display
from nightgauge.vocabulary.kinds import KINDS, Kind
from nightgauge.vocabulary.limits import Limit

SILENT_AFTER = timedelta(days=1)
"""A tag without a sample for longer is named as silent. House choice: one missed daily export."""


def check(field_toml: FieldToml, form: As = Format.table) -> None:
    """Is the field folder right; which tags have data, which are silent; what can and can't be judged."""
    field = read_field(field_toml)
    until = default_until(field, clock())
    facts = _facts(field, heard(field, Store(field.database), until, clock()), until)
    if form is Format.json:
        say(json.dumps(facts, ensure_ascii=False, indent=1))
    elif form is Format.csv:
        rows = [
            {"vessel": vessel["id"], "kind": kind, **judged}
            for vessel in facts["vessels"]
            for kind, judged in vessel["kinds"].items()
        ]
        show(rows, ("vessel", "kind", "can_be_judged", "why"), form, field.zone)
    else:
        _print_check(facts)


def _facts(field: Field, known: Heard, until: datetime) -> dict[str, Any]:
    """Return everything that check says, as plain data."""
    tags = [
        {
            "tag": row["tag"],
            "vessel": row["vessel"],
            "signal": row["signal"],
            "samples": row["samples"],
            "last": None if row["last_utc"] is None else row["last_utc"].astimezone(field.zone).isoformat(),
            "silent": row["last_utc"] is None or row["last_utc"] < until - SILENT_AFTER,
        }
        for row in known.tags.iter_rows(named=True)
    ]
    with_data = {(tag["vessel"], tag["signal"]) for tag in tags if tag["samples"]}
    return {
        "field": field.name,
        "until": until.astimezone(field.zone).isoformat(timespec="minutes"),
        "data_known_from": known.source,
        "warnings": warnings_of(field),
        "missing": [{"what": m.key, "would_allow": m.would_allow} for m in missing_for_prices(field)],
        "refused_exports": list(known.refused),
        "unknown_tags": dict(known.unknown),
        "tags": tags,
        "vessels": [_vessel_facts(v, {s for vessel, s in with_data if vessel == v.id}) for v in field.vessels],
    }


def _vessel_facts(vessel: Vessel, signals: set[str]) -> dict[str, Any]:
    return {
        "id": vessel.id,
        "service": vessel.service,
        "kinds": {
            kind: {"can_be_judged": judged.can, "why": judged.why}
            for kind, judged in judgeable(vessel, signals).items()
        },
        "missing": [{"what": m.key, "would_allow": m.would_allow} for m in missing_of(vessel, signals)],
    }


def _print_check(facts: dict[str, Any]) -> None:
    say(f"{facts['field']}: {len(facts['vessels'])} vessels, {len(facts['tags'])} tags; "
        f"the field folder is right; data known from {facts['data_known_from']}")  # fmt: skip
    unknown = [f"{tag}: {rows:,} rows" for tag, rows in facts["unknown_tags"].items()]
    wanted = [f"missing {missing['what']}: would allow {missing['would_allow']}" for missing in facts["missing"]]
    for title, lines in (
        ("odd, but possible", facts["warnings"]),
        ("exports that cannot be read", facts["refused_exports"]),
        ("tags in the exports that tags.csv does not have", unknown),
        ("to price losses", wanted),
    ):
        if lines:
            say(f"\n{title}:")
            say("\n".join(f"  {line}" for line in lines))
    silent = [tag for tag in facts["tags"] if tag["silent"]]
    day = f"the {SILENT_AFTER // timedelta(hours=1)} hours before {facts['until']}"
    say(f"\ntags with data in {day}: {len(facts['tags']) - len(silent)} of {len(facts['tags'])}")
    if silent:
        say("silent for longer:")
        say(table(silent, ("tag", "vessel", "signal", "samples", "last")))
    for vessel in facts["vessels"]:
        can = [kind for kind, judged in vessel["kinds"].items() if judged["can_be_judged"]]
        say(f"\n{vessel['id']} ({vessel['service']})")
        say(f"  can be judged: {', '.join(can) or 'nothing'}")
        for missing in vessel["missing"]:
            say(f"  missing {missing['what']}: would allow {missing['would_allow']}")


def explain(
    kind: Annotated[str | None, typer.Argument(metavar="[KIND]", help="A kind of finding; none lists them.")] = None,
) -> None:
    """What a kind of finding looks for, what it needs, and each threshold with its reason and source."""
    if kind is None:
        rows = [{"kind": k.name, "says": k.says} for k in KINDS.values()]
        say(table(rows, ("kind", "says")))
        return
    if kind not in KINDS:
        raise SettingError(f"there is no kind {kind!r}; there are {', '.join(KINDS)}")
    _print_kind(KINDS[kind])


def _print_kind(kind: Kind) -> None:
    say(f"{kind.name}: {kind.says}")
    say(f"\nelement: {kind.element}; ISO 14224 failure mode: {kind.failure_mode or 'none'}")
    say(f"\nlooks for: {kind.looks_for}")
    needs = "; or ".join(" with ".join(sorted(signals)) for signals in kind.needs)
    say(f"\nneeds: {needs or 'no signal'}")
    say(f"with fewer: {kind.fewer}")
    if kind.limits:
        say(f"\nlimits, set in [limits.{kind.name}] for the field or [vessel.limits.{kind.name}] for a vessel:")
    for limit in kind.limits:
        say(f"  {limit.name} = {_as_set(limit)}\n    {limit.reason}\n    source: {limit.source}")
    for title, lines in (("look at, in order", kind.checks), ("cautions", kind.cautions)):
        if lines:
            say(f"\n{title}:")
            say("\n".join(f"  - {line}" for line in lines))


def _as_set(limit: Limit) -> str:
    """Return a limit's default as field.toml would write it."""
    if limit.dimension == "number":
        return f"{limit.default:g}"
    value, unit = to_display(limit.default, limit.dimension, "oilfield")
    return f'"{value:.4g} {unit}"'
