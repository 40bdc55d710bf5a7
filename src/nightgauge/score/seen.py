"""What was there to be seen: the vessels' signals, and how long they were judged."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import polars as pl

from nightgauge.field.settings import Field, Vessel
from nightgauge.score.promptness import Pace, deadline, paces_of
from nightgauge.score.truth import Known
from nightgauge.vocabulary.showable import is_showable

_WEEK_S = 7.0 * 86400.0


@dataclass(frozen=True)
class Seen:
    """The fleet as the nights saw it."""

    signals: Mapping[str, frozenset[str]]
    """Of every vessel, those without findings and faults too."""
    start: datetime
    until: datetime
    """Of the last night; a fault that begins later could not be found."""
    sized: frozenset[str] = frozenset()
    """Vessels with dimensions and a required retention."""
    paces: Mapping[str, Pace] = field(default_factory=dict)
    """What each vessel's deadlines are measured by."""

    @property
    def vessel_weeks(self) -> float:
        """Return the weeks judged, over all vessels."""
        return len(self.signals) * (self.until - self.start).total_seconds() / _WEEK_S

    def due(self, fault: Known) -> datetime | None:
        """Return the time before which a fault has to be told; None where it is not known or after the last night."""
        due = deadline(fault, self.paces)
        return None if due is None or due > self.until else due

    def shows(self, fault: Known) -> bool | None:
        """Return whether a fault could be seen, None where the format's table does not say.

        Alternatives are one fault: it is showable if it is as any of them.
        """
        signals = self.signals.get(fault.vessel, frozenset())
        if fault.kinds[:1] == ("vessel_undersized",) and fault.vessel not in self.sized:
            return False
        answers = [is_showable(kind, signals, fault.of_signal) for kind in fault.kinds]
        if True in answers:
            return True
        return False if False in answers else None


def seen_of(field_: Field, start: datetime, until: datetime, cycles: pl.DataFrame) -> Seen:
    """Return what a field's nights saw.

    Parameters
    ----------
    field_ : Field
        Its vessels and their signals.
    start, until : datetime
        First data, last night.
    cycles : DUMP_CYCLES
        Dumps of all vessels, of the first weeks at least: they give each vessel's own period.

    """
    signals = {vessel.id: field_.signals_of(vessel.id) for vessel in field_.vessels}
    sized = frozenset(v.id for v in field_.vessels if _is_sized(v))
    return Seen(signals, start, until, sized, paces_of(field_, cycles, start))


def _is_sized(vessel: Vessel) -> bool:
    dimensions = (vessel.inside_diameter_m, vessel.length_m, vessel.heads, vessel.orientation)
    required = vessel.required_water_retention_min is not None or vessel.oil_gravity_degapi is not None
    return None not in dimensions and required
