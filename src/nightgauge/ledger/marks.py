"""What people say of a finding: known, planned, fixed or wrong. A mark never changes a finding's state."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from nightgauge.errors import SettingError

MARKS = ("known", "planned", "fixed", "wrong")


def mark(
    finding: Mapping[str, Any], as_: str, note: str | None, by: str | None, at: datetime
) -> tuple[str, dict[str, Any]]:
    """Return the mark as JSON text for the finding's row, and the event that records it.

    Raises
    ------
    SettingError
        If `as_` is none of known, planned, fixed, wrong.

    """
    if as_ not in MARKS:
        raise SettingError(f"mark of finding {finding['id']}: found {as_!r}, expected one of {', '.join(MARKS)}")
    text = json.dumps({"as": as_, "note": note, "by": by, "at": at.isoformat()}, ensure_ascii=False)
    detail = as_ + (f" by {by}" if by else "") + (f": {note}" if note else "")
    return text, {"finding_id": finding["id"], "at_utc": at, "event": "marked", "detail": detail}


def mark_of(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return the mark of a finding's row, empty where there is none."""
    return json.loads(row["mark"]) if row["mark"] else {}
