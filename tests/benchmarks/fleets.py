"""The bench: fleets replayed night by night and scored, all of them together.

    uv run python tests/benchmarks/fleets.py --cache DIR [--folder F ...] [--seeds N ...] [--vessels N] [--days N]
        [--ranges usual|other] [--jobs N] [-v]

Samples and derived rows are kept in the cache, so that after a change of a detector only the judging runs anew.
After a change of `simulate` or `derive`, delete the fleet's folder in the cache, or its `derived`.
"""

import argparse
import os
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

# Before Polars is loaded: two processes with a thread each are faster on two cores than two with two.
os.environ.setdefault("POLARS_MAX_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import polars as pl
from replaying import Replayed, replay, say
from worlds import Folder, Simulated, World

from nightgauge.score import Score, reliability_table, together
from nightgauge.simulate.ranges import RANGES


def main() -> int:
    """Replay and score the fleets that the command line names."""
    asked = arguments()
    worlds: list[World] = [
        *(Folder(path) for path in asked.folder),
        *(Simulated(seed, asked.vessels, asked.days, asked.ranges) for seed in asked.seeds),
    ]
    scores, first_claims = [], []
    for world in worlds:
        begun = time.perf_counter()
        replayed = replay(world, asked.cache, asked.jobs)
        scores.append(replayed.score)
        first_claims += replayed.first_claims
        if asked.verbose:
            say(story(replayed))
        say("\n".join((summary(replayed, time.perf_counter() - begun), *failures(replayed.failed))))
    say("\n" + together(scores).table())
    say("\n" + reliability_table(first_claims, "when first told as medium or high"))
    return 0


def summary(replayed: Replayed, seconds: float) -> str:
    """Return one fleet in one line."""
    result = replayed.score
    found = [o for o in result.showable if o.finding is not None]
    return (
        f"{replayed.name}: {len(replayed.field.vessels)} vessels, {len(replayed.nights.untils)} nights, "
        f"{len(result.showable)} showable, {len(found)} found, {sum(o.is_named_right for o in found)} named right, "
        f"{len(result.false)} false; {seconds:.0f} s"
    )


def story(replayed: Replayed) -> str:
    """Return every vessel with a fault or a finding: what was planted, what was told."""
    result = replayed.score
    lines = []
    for vessel in replayed.field.vessels:
        planted = replayed.truth.filter(pl.col("vessel") == vessel.id)
        told = replayed.findings.filter(pl.col("vessel") == vessel.id).sort("first_reported", "id")
        if planted.height or told.height:
            action = vessel.water_dump_at(replayed.nights.start).action
            signals = " ".join(sorted(replayed.field.signals_of(vessel.id)))
            lines.append(f"\n{replayed.name} {vessel.id}, {vessel.service}, {action}: {signals}")
            lines += _planted(result, vessel.id, planted)
            lines += [_told(row, result) for row in told.iter_rows(named=True)]
    return "\n".join(lines)


def _planted(result: Score, vessel: str, planted: pl.DataFrame) -> list[str]:
    outcomes = [o for o in result.outcomes if o.vessel == vessel]
    details = {row["start"]: row.get("detail") or "" for row in planted.iter_rows(named=True)}
    lines = []
    for start, detail in details.items():
        outcome = next((o for o in outcomes if o.start.isoformat() == start), None)
        if outcome is None:
            lines.append(f"  PLANTED {start}: {detail}: begins after the last night")
            continue
        shown = {True: "showable", False: "not showable", None: "outside the table"}[outcome.is_showable]
        end = f" to {outcome.end:%d %b %H:%M}" if outcome.end else ""
        if outcome.finding is None:
            fate = "MISSED" if outcome.is_showable else "missed"
        else:
            named = "right" if outcome.is_named_right else "WRONG NAME"
            fate = f"{outcome.finding} {named}, night {outcome.nights}, onset {outcome.onset_error_days:+.1f} days"
        lines.append(f"  PLANTED {'|'.join(outcome.kinds)} {outcome.start:%d %b %H:%M}{end}, {detail}; {shown}: {fate}")
    return lines


def _told(row: dict[str, object], result: Score) -> str:
    is_false = any(row["id"] == finding for finding, _, _ in result.false)
    return (
        f"  {'FALSE' if is_false else 'told '} {row['id']} [{row['priority']}] {row['kind']} on {row['element']} "
        f"{row['confidence']:.2f} {row['state']}, onset {row['onset']:%d %b %H:%M}, "
        f"first {row['first_reported']:%d %b}, last {row['last_seen']:%d %b %H:%M}, also {row['also']}\n"
        f"        {row['summary']}"
    )


def failures(lines: Sequence[str]) -> list[str]:
    """Return what went wrong, each once, with how many nights it cost."""
    reasons = Counter(line.split(": ", 1)[1] for line in lines)
    return [f"  FAILED on {count} nights of vessels: {reason}" for reason, count in reasons.most_common()]


def arguments() -> argparse.Namespace:
    """Return the command line's arguments."""
    made = argparse.ArgumentParser(description="Replay fleets night by night and score them.")
    made.add_argument("--cache", type=Path, required=True, help="folder for samples and derived rows")
    made.add_argument("--folder", type=Path, action="append", default=[], help="field folder with truth.csv; repeat it")
    made.add_argument("--seeds", type=int, nargs="*", default=[], help="seeds of fleets to simulate")
    made.add_argument("--vessels", type=int, default=60, help="vessels of a simulated fleet")
    made.add_argument("--days", type=int, default=42, help="days of a simulated fleet")
    made.add_argument("--ranges", choices=RANGES, default="usual", help="ranges of a simulated fleet's physics")
    made.add_argument("--jobs", type=int, default=2, help="processes")
    made.add_argument("-v", dest="verbose", action="store_true", help="print every fault and finding")
    return made.parse_args()


if __name__ == "__main__":
    sys.exit(main())
