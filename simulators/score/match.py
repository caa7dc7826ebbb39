"""Which finding is which event: one to one, as many as can be, the nearest starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Window = tuple[float, float]


@dataclass(frozen=True)
class Best:
    """The best pairing of the first findings with the first events: how many, how far off."""

    pairs: int
    off_s: float

    def is_better(self, other: Best) -> bool:
        """Prefer more pairs, then the nearer ones."""
        return (self.pairs, -self.off_s) > (other.pairs, -other.off_s)


def windows(
    starts_s: Sequence[float], ends_s: Sequence[float | None], before_s: float, after_s: float,
    *, lasts: bool,
) -> list[Window]:  # fmt: skip
    """Give the span in which a finding of each event may start; events in the order of starts."""
    found = []
    for start, end in zip(starts_s, ends_s, strict=True):
        until = start + after_s
        if lasts:
            until = max(until, end) if end is not None else float("inf")
        found.append((start - before_s, until))
    return found


def match(
    said_s: Sequence[float], true_s: Sequence[float], allowed: Sequence[Window]
) -> list[tuple[int, int]]:
    """Pair findings with events of one kind and subject, optimally.

    Most pairs first, then the least sum of start distances. Both lists are walked in order of
    start, which finds the optimum because crossed pairs never pay: for x1 <= x2 (events) and
    y1 <= y2 (findings), |y1 - x1| + |y2 - x2| <= |y2 - x1| + |y1 - x2|; and where (x1, y2) and
    (x2, y1) are allowed, (x1, y1) and (x2, y2) are, too, as long as windows open and close in the
    order of the events (they do where a condition happens to a subject once at a time).

    Parameters
    ----------
    said_s : Sequence[float]
        Starts of the findings, in any order. [s]
    true_s : Sequence[float]
        Starts of the events, rising. [s]
    allowed : Sequence[Window]
        For each event the span in which its finding may start. [s]

    Returns
    -------
    list[tuple[int, int]]
        Index of a finding, index of its event.
    """
    fits = [any(low <= y <= high for low, high in allowed) for y in said_s]
    order = sorted((i for i, fit in enumerate(fits) if fit), key=lambda i: said_s[i])
    rows, columns = len(order), len(true_s)
    best = [[Best(0, 0.0)] * (columns + 1) for _ in range(rows + 1)]
    for i in range(1, rows + 1):
        y = said_s[order[i - 1]]
        for j in range(1, columns + 1):
            choice = best[i - 1][j]
            if best[i][j - 1].is_better(choice):
                choice = best[i][j - 1]
            if allowed[j - 1][0] <= y <= allowed[j - 1][1]:
                corner = best[i - 1][j - 1]
                paired = Best(corner.pairs + 1, corner.off_s + abs(y - true_s[j - 1]))
                if paired.is_better(choice):
                    choice = paired
            best[i][j] = choice
    return _walk_back(best, order)


def _walk_back(best: list[list[Best]], order: list[int]) -> list[tuple[int, int]]:
    """Read the pairs out of the table."""
    pairs = []
    i, j = len(order), len(best[0]) - 1
    while i and j:
        here = best[i][j]
        if here == best[i - 1][j]:
            i -= 1
        elif here == best[i][j - 1]:
            j -= 1
        else:
            pairs.append((order[i - 1], j - 1))
            i, j = i - 1, j - 1
    return pairs[::-1]
