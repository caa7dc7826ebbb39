"""What the endpoints are given: the store, the clock, and who tries quarantine again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Protocol

from fastapi import Depends, Request

from hivewatch.api.feed import Feed
from hivewatch.clock import Clock
from hivewatch.health import Told
from hivewatch.outlooks import Outlooks
from hivewatch.settings import Settings
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held


class Committed(Protocol):
    """What became of a pack that was tried again."""

    @property
    def stored(self) -> int:
        """How many readings were new."""
        ...

    @property
    def repeats(self) -> int:
        """How many were stored already."""
        ...

    @property
    def quarantined(self) -> int:
        """How many records stay in quarantine."""
        ...


class Readmit(Protocol):
    """Try packs of quarantine again: `hivewatch.ingest.intake.Intake.readmit`."""

    def __call__(
        self, now_s: int, ids: Iterable[int], /, *, shift_s: int = 0
    ) -> Sequence[tuple[Held, Committed]]:
        """Give what was tried, and what became of it."""
        ...


@dataclass(frozen=True, slots=True)
class Rooms:
    """What one app serves from."""

    store: Store
    settings: Settings
    clock: Clock
    health: Told
    readmit: Readmit
    feed: Feed
    outlooks: Outlooks
    kept: dict[str, object] = field(default_factory=dict)


async def _rooms(request: Request) -> Rooms:  # a plain function would be given a thread
    rooms: Rooms = request.app.state.rooms
    return rooms


Here = Annotated[Rooms, Depends(_rooms)]
