"""Episodes of one night grouped into faults, and faults matched to the findings already in the ledger."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from nightgauge.vocabulary.findings import Candidate

RETURN = timedelta(days=14)
"""A fault that comes back within this is the same finding again. Fixed by the project's format page."""
ONE_FAULT = timedelta(days=4)
"""Episodes nearer than this share one onset; later ones are a return with its own. House choice."""

_FAMILIES = (
    ("interface_setpoint_drift", "interface_setpoint_step"),
    ("oil_valve_setpoint_drift", "oil_valve_setpoint_step"),
    ("gas_valve_setpoint_drift", "gas_valve_setpoint_step", "back_pressure_margin_lost"),
)
_FAMILY = {kind: family[0] for family in _FAMILIES for kind in family}


_PRESSURE_PLACES = ("oil_valve", "gas_valve", "instrument:vessel_pressure")
_LEVEL_PLACES = ("water_dump", "instrument:interface_level")
_VALVE_KINDS = ("pressure_not_held", "back_pressure_hunting")
_MOVES = {kind for family in _FAMILIES for kind in family} | {"instrument_drift"}


def moved_place(element: str, kind: str) -> str | None:
    """Return the quantity whose slow or sudden move is told, whichever part is thought to have moved it.

    Whether the valve or the transmitter moved may become clear later only: then the kind and the element of the
    finding are refined, and its id stays.
    """
    if kind in _VALVE_KINDS:
        return kind
    if kind not in _MOVES:
        return None
    if element in _PRESSURE_PLACES:
        return "pressure"
    return "level" if element in _LEVEL_PLACES else None


def refines(kind: str, other: str, element: str) -> bool:
    """Return whether two kinds on a valve are one fall of its pressure, told as a turned spring first or last."""
    step = f"{element}_setpoint_step"
    drift = f"{element}_setpoint_drift"
    return "pressure_not_held" in (kind, other) and (kind in (step, drift) or other in (step, drift))


def family(kind: str) -> str:
    """Return the name under which kinds that refine each other are one fault."""
    return _FAMILY.get(kind, kind)


@dataclass(frozen=True)
class Fault:
    """One night's view of one fault: its latest episode, with the onset of the chain it belongs to."""

    candidate: Candidate
    first_onset: datetime

    @property
    def end(self) -> datetime:
        """Return when it was over, or was last seen."""
        return self.candidate.ended or self.candidate.last_seen


def faults_of(candidates: Sequence[Candidate]) -> list[Fault]:
    """Return one fault per element and family; an episode within 14 days of the last one's end goes on with it."""
    groups: dict[tuple[str, str], list[Candidate]] = {}
    for candidate in sorted(candidates, key=lambda c: (c.onset, c.kind)):
        groups.setdefault((candidate.element, family(candidate.kind)), []).append(candidate)
    faults: list[Fault] = []
    for group in groups.values():
        chain: Fault | None = None
        for candidate in group:
            chain = _chained(faults, chain, candidate)
        if chain is not None:
            faults.append(chain)
    return sorted(faults, key=lambda f: (f.first_onset, f.candidate.element, f.candidate.kind))


def _chained(faults: list[Fault], chain: Fault | None, candidate: Candidate) -> Fault:
    if chain is None:
        return Fault(candidate, candidate.onset)
    if chain.candidate.settled or candidate.onset - chain.end > RETURN:
        faults.append(chain)
        return Fault(candidate, candidate.onset)
    if candidate.onset - chain.end > ONE_FAULT:
        return Fault(candidate, chain.first_onset)
    joined = replace(candidate, onset=min(chain.candidate.onset, candidate.onset))
    if joined.ended is not None and chain.candidate.ended is None:
        # Two open episodes of one family overlap: the fault stands while either does.
        joined = replace(joined, ended=None)
    return Fault(joined, chain.first_onset)
