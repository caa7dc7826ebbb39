"""Colonies that are the keeper's no more: given away or sold, as somebody wrote down."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, TypeVar

from hivewatch.inspections import Inspection
from hivewatch.timeline.stated import SAME_VISIT_S, Noted

GIVEN = "given away"
N = TypeVar("N", bound=Noted)


class Absence(NamedTuple):
    """A span in which a hive had no colony of the keeper's.

    Parameters
    ----------
    by : Noted
        The inspection that says that it was given away.
    from_s : int
        Its time. [s]
    to_s : int or None
        When somebody next wrote down a visit: there is a colony again. [s]
    """

    by: Noted
    from_s: int
    to_s: int | None

    def holds(self, start_s: int, end_s: int | None) -> bool:
        """Say whether something that was told of the hive is of no colony of the keeper's."""
        if self.to_s is not None and start_s > self.to_s:
            return False
        began = start_s >= self.from_s - SAME_VISIT_S
        lasts = self.to_s is None and (end_s is None or end_s >= self.from_s)
        return began or lasts


def is_given(visit: Inspection) -> bool:
    """Say whether a visit tells that the colony was given away."""
    return GIVEN in [one.what for one in visit.actions]


def absences(noted: Sequence[Noted]) -> list[Absence]:
    """Give the spans in which a hive had no colony of the keeper's, from all that was written."""
    visits = _visits(noted)
    times_s = [one.inspection.at_s for one in visits]
    return [
        Absence(one, times_s[i], times_s[i + 1] if i + 1 < len(visits) else None)
        for i, one in enumerate(visits)
        if is_given(one.inspection)
    ]


def of_this_colony(noted: Sequence[N]) -> list[N]:
    """Leave out what was written of colonies that were given away since; all, while it is gone."""
    given = [one.inspection.at_s for one in noted if is_given(one.inspection)]
    if not given:
        return list(noted)
    last_s = max(given)
    return [one for one in noted if one.inspection.at_s > last_s]


def _visits(noted: Sequence[N]) -> list[N]:
    """Put the visits into their order; who writes that nobody opened the hive was not there."""
    opened = [one for one in noted if one.inspection.opened]
    return sorted(opened, key=lambda one: (one.inspection.at_s, one.id))
