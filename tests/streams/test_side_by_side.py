"""Pieces worked on in threads: nothing of it shows."""

import threading
import time

import pytest

from nightgauge.streams.side_by_side import WORKERS, side_by_side


def test_results_come_in_the_order_of_the_items_whichever_is_done_first():
    def slowest_first(item):
        time.sleep(0.02 if item == 0 else 0.0)
        return item * item

    assert list(side_by_side(slowest_first, range(50))) == [item * item for item in range(50)]


def test_no_more_items_are_taken_up_than_are_worked_on_soon():
    taken = []

    def items():
        for item in range(1000):
            taken.append(item)
            yield item

    results = side_by_side(lambda item: item, items())
    assert next(results) == 0
    assert len(taken) < 3 * WORKERS + 3
    results.close()


def test_an_error_of_an_item_is_raised_at_its_turn_and_ends_the_work():
    def odd_one(item):
        if item == 3:
            raise ValueError("the fourth")
        return item

    results = side_by_side(odd_one, range(1000))
    assert [next(results) for _ in range(3)] == [0, 1, 2]
    with pytest.raises(ValueError, match="the fourth"):
        next(results)


def test_an_error_between_items_is_raised_and_no_thread_is_left():
    def broken():
        yield 1
        raise OSError("the file ends here")

    before = threading.active_count()
    with pytest.raises(OSError, match="ends here"):
        list(side_by_side(lambda item: item, broken()))
    assert threading.active_count() == before
