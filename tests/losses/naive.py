"""Slow twins: well by well, day by day, minute by minute."""

from datetime import timedelta

from nightgauge.field.calendar import day_bounds


def share_of_day(vessel, well, field, day):
    """Count the minutes of a day in which a well flows to a vessel."""
    start, end = day_bounds(field.zone, day)
    minutes = there = 0
    time = start
    while time < end:
        way = well.vessel
        for turn in sorted((one for one in field.routings if one.well == well.id), key=lambda one: one.at_utc):
            if turn.at_utc <= time:
                way = turn.vessel
        minutes += 1
        there += way == vessel
        time += timedelta(minutes=1)
    return there / minutes


def loss_of_day(vessel, field, day, excess_kpa):
    """Return the liquid held back on a day and the wells that are not in."""
    total, without = None, []
    for well in field.wells:
        share = share_of_day(vessel, well, field, day)
        if share == 0:
            continue
        index = well.productivity_index_m3_per_day_per_kpa
        if index is None:
            without.append(well.id)
            continue
        slope = well.pump_curve_slope_kpa_day_per_m3 or 0.0
        total = (total or 0.0) + share * excess_kpa / (1 / index + slope)
    return total, without
