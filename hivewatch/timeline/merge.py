"""One order for all that happened: the newest first, page by page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal, NamedTuple

What = Literal["finding", "inspection", "alert", "question", "device"]
WHATS: tuple[What, ...] = ("finding", "inspection", "alert", "question", "device")


class Entry(NamedTuple):
    """The place of one thing on a timeline; two of one moment stand by kind and id."""

    at_s: int
    what: str
    id: str


def page(
    kinds: Iterable[Iterable[Entry]], limit: int, after: Entry | None = None
) -> Sequence[Entry]:
    """Merge the entries of several kinds and give the first of them.

    Parameters
    ----------
    kinds : Iterable
        Each kind by itself holds at least the first `limit` entries behind `after`, in any order.
    limit : int
        How many at most.
    after : Entry or None
        The last one of the page before.

    Returns
    -------
    Sequence[Entry]
        The newest first.
    """
    wanted = {one for kind in kinds for one in kind if after is None or one < after}
    return sorted(wanted, reverse=True)[:limit]
