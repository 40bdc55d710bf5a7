"""Thresholds set in field.toml: `[limits.<kind>]` for the field, `[vessel.limits.<kind>]` for one vessel."""

from collections.abc import Mapping

from nightgauge.field.keys import ANY, NOT_NEGATIVE, Key
from nightgauge.field.problems import Scope, remedy_for, shown
from nightgauge.field.tables import Place, Table, read_table
from nightgauge.vocabulary.kinds import KINDS
from nightgauge.vocabulary.limits import Limit

Limits = Mapping[str, Mapping[str, float]]


def read_limits(value: object, place: Place, scope: Scope) -> Limits:
    """Return the thresholds that are set: kind, name, value in the unit used inside."""
    if not isinstance(value, dict):
        scope.add("limits", shown(value), "tables like [limits.dump_leaking]", "write one table for each kind")
        return {}
    limits: dict[str, Mapping[str, float]] = {}
    for kind, table in value.items():
        inner = scope.inside(f"limits.{shown(kind)[1:-1]}")
        if kind not in KINDS:
            inner.add("kind", shown(kind), "a kind of finding", remedy_for(kind, KINDS))
        elif not isinstance(table, dict):
            inner.add("value", shown(table), f"a table [limits.{kind}]", f"see `nightgauge explain {kind}`")
        else:
            limits[kind] = _limits_of(table, kind, place, inner)
    return limits


def _limits_of(table: Table, kind: str, place: Place, scope: Scope) -> Mapping[str, float]:
    return read_table(table, [_key(limit) for limit in KINDS[kind].limits], place, scope)


def _key(limit: Limit) -> Key:
    # A threshold is the size of something; only a temperature can be a size below zero.
    bounds = ANY if limit.dimension == "temperature" else NOT_NEGATIVE
    if limit.dimension == "number":
        return Key(limit.name, limit.name, "number", bounds=bounds)
    return Key(limit.name, limit.name, "quantity", limit.dimension, bounds=bounds)
