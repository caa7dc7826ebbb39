"""What is worked out again, and what is not."""

from __future__ import annotations

from dataclasses import replace

from weeks import HIVE, YARD

from hivewatch.signals.carried import Carried, unless_same
from hivewatch.signals.window import HiveWindow


def looked_at(window: HiveWindow, *givens: object) -> list[int]:
    """Ask again and again, each time with something given; count how often it was worked out."""
    asked: list[object] = []

    def work(given: object) -> int:
        asked.append(given)
        return len(asked)

    return [unless_same(window, "it", one, lambda one=one: work(one)) for one in givens]


def test_the_same_is_worked_out_once_and_anything_else_anew():
    window = HiveWindow(HIVE, YARD, 0, {}, carried=Carried(1))
    assert looked_at(window, [1.0], [1.0], [2.0], [2.0], [1.0]) == [1, 1, 2, 2, 3]


def test_the_next_window_rests_on_the_same_and_another_hive_does_not():
    window = HiveWindow(HIVE, YARD, 0, {}, carried=Carried(1))
    assert looked_at(window, "a") == [1]
    assert looked_at(replace(window), "other", "a") == [1, 2]
    assert looked_at(replace(window), "a") == [2]  # worked out by the look before
    assert looked_at(replace(window, carried=Carried(1)), "b") == [1]


def test_nothing_is_kept_before_there_is_something_to_rest_on():
    window = HiveWindow(HIVE, YARD, 0, {})
    assert looked_at(window, "a", "a") == [1, 2]
    assert not window.carried.last
