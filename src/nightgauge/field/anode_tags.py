"""Which anode a current is of: the tag that an `[[anode]]` names carries a signal of its own."""

from collections.abc import Sequence
from dataclasses import replace

from nightgauge.field.problems import Scope, listed, remedy_for, shown
from nightgauge.field.settings import Anode, TagRow
from nightgauge.vocabulary.signals import of_part

CURRENT = "anode_current"


def name_currents(tags: Sequence[TagRow], anodes: Sequence[Anode], scope: Scope) -> tuple[TagRow, ...]:
    """Return the tags, those that an anode names as the signal `anode_current:<id of the anode>`.

    Parameters
    ----------
    tags : sequence of TagRow
        As tags.csv has them.
    anodes : sequence of Anode
        As field.toml has them.
    scope : Scope
        Of field.toml: a tag that tags.csv has not, or has as something else, is noted there.

    """
    owners: dict[str, Anode] = {}
    for anode in anodes:
        if anode.tag is not None and _is_current_of(anode, tags, owners, scope.inside(f"anode {anode.id}")):
            owners[anode.tag] = anode
    return tuple(
        replace(row, signal=of_part(CURRENT, owners[row.tag].id)) if row.tag in owners else row for row in tags
    )


def _is_current_of(anode: Anode, tags: Sequence[TagRow], owners: dict[str, Anode], scope: Scope) -> bool:
    rows = [row for row in tags if row.tag == anode.tag]
    expected = f"a tag of tags.csv with vessel {anode.vessel} and signal {CURRENT}"
    of_vessel = [row.tag for row in tags if row.vessel == anode.vessel and row.signal == CURRENT]
    found = shown(anode.tag)
    if not rows:
        remedy = remedy_for(anode.tag or "", of_vessel) if of_vessel else "add the tag to tags.csv"
        scope.add("tag", found, f"{expected}: {listed(of_vessel) or 'it has none'}", remedy)
        return False
    for row in rows:
        if (row.vessel, row.signal) != (anode.vessel, CURRENT):
            scope.add("tag", f"{found}, which is {row.signal} of {row.vessel}", expected, "correct tag, or tags.csv")
            return False
    if anode.tag in owners:
        scope.add("tag", f"{found}, which anode {owners[anode.tag].id} has too", "each tag once", "take one out")
        return False
    return True
