"""Inflow of water: constant from one shutting to the next, and the balance of the vessel where no dump tells."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.cycles import Found
from nightgauge.derive.dumps import UNSEEN
from nightgauge.derive.facts import Facts
from nightgauge.derive.known import per_bin
from nightgauge.derive.plant import Plant, level_at
from nightgauge.derive.spans import SECOND_US, Floats, Span, Times, complement, cut_at, overlaps
from nightgauge.derive.totals import DAY_S


@dataclass(frozen=True)
class Rates:
    """A rate over stretches of time that do not overlap."""

    start_us: Times
    end_us: Times
    rate_m3_per_day: Floats

    def mean_per_hour(self, edges_us: Times) -> Floats:
        """Return the time-weighted mean of each hour over what is known of it, NaN where nothing is."""
        known = ~np.isnan(self.rate_m3_per_day)
        cut = cut_at(self.start_us[known], self.end_us[known], edges_us)
        rate = self.rate_m3_per_day[known][cut.source]
        count = edges_us.size - 1
        length = per_bin(np.add, cut.length_s, cut.bin, count, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            return per_bin(np.add, rate * cut.length_s, cut.bin, count, np.nan) / length

    def known_share(self, edges_us: Times) -> Floats:
        """Return how much of each stretch between edges the rate is known for. [1]"""
        known = ~np.isnan(self.rate_m3_per_day)
        cut = cut_at(self.start_us[known], self.end_us[known], edges_us)
        return per_bin(np.add, cut.length_s, cut.bin, edges_us.size - 1, 0.0) / (np.diff(edges_us) / SECOND_US)


def water_inflow(plant: Plant, found: Found, known: Facts, open_spans: Span, edges_us: Times) -> Rates:
    """Return the water inflow between the first and the last of the edges, which are hours.

    From one shutting to the next it is what that cycle shows. Everywhere else (since the last shutting, over
    gaps, with a throttling dump) it is what the meter passed plus what the level gained, hour by hour.
    """
    shut = found.dumps.shut_us
    before = np.append(UNSEEN, shut[:-1])
    told = (before != UNSEEN) & (shut != UNSEEN) & ~np.isnan(known.inflow_m3_per_day)
    start, end, rate = before[told], shut[told], known.inflow_m3_per_day[told]
    free = complement((start, end), int(edges_us[0]), int(edges_us[-1]))
    rest = cut_at(*free, edges_us)
    balance = _balance(plant, *_measured(plant, rest.start_us, rest.end_us), open_spans)
    all_start, all_end = np.concatenate([start, balance.start_us]), np.concatenate([end, balance.end_us])
    order = np.argsort(all_start, kind="stable")
    return Rates(all_start[order], all_end[order], np.concatenate([rate, balance.rate_m3_per_day])[order])


def _measured(plant: Plant, start: Times, end: Times) -> tuple[Times, Times]:
    """Return the part of each stretch from the first to the last reading of level and meter in it."""
    if plant.interface is not None and plant.interface.start_us.size:
        known_from, known_to = plant.interface.start_us, plant.interface.end_us
        following = np.minimum(np.searchsorted(known_to, start, side="right"), known_to.size - 1)
        before = np.maximum(np.searchsorted(known_from, end, side="left") - 1, 0)
        start, end = np.maximum(start, known_from[following]), np.minimum(end, known_to[before])
    if plant.water is not None and plant.water.to_us.size:
        start = np.maximum(start, plant.water.from_us[0])
        end = np.minimum(end, plant.water.to_us[-1])
    real = end > start
    return start[real], end[real]


def _balance(plant: Plant, start: Times, end: Times, open_spans: Span) -> Rates:
    """Return inflow = outflow + gain of inventory over each stretch, NaN where it cannot be told, never below 0."""
    passed = _passed(plant, start, end, open_spans)
    there = plant.water_volume_m3(level_at(plant.interface, np.concatenate([start, end])))
    gained = there[start.size :] - there[: start.size]
    if plant.is_throttling:
        # The dump holds the level: without a level reading what comes in goes out.
        gained = np.where(np.isnan(gained), 0.0, gained)
    return Rates(start, end, np.maximum((passed + gained) / ((end - start) / SECOND_US) * DAY_S, 0.0))


def _passed(plant: Plant, start: Times, end: Times, open_spans: Span) -> Floats:
    """Return what left through the dump: by meter, or nothing where the valve was shut all along."""
    was_open = overlaps(start, end, open_spans)
    metered = np.full(start.shape, np.nan) if plant.water is None else plant.water.after_to_after(start, end)
    if plant.water is None and plant.is_throttling:
        return metered
    return np.where(np.isnan(metered), np.where(was_open, np.nan, 0.0), metered)
