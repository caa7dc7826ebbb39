"""What the endpoints are given: the store, the clock, and who tries quarantine again."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Annotated, Protocol

from fastapi import Depends, Request

from hivewatch.api.feed import Feed
from hivewatch.api.health import Health
from hivewatch.clock import Clock
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


Readmit = Callable[[int, Iterable[int]], Iterable[tuple[Held, Committed]]]
"""Try these packs of quarantine again at a time: `hivewatch.ingest.intake.Intake.readmit`."""


@dataclass(frozen=True, slots=True)
class Rooms:
    """What one app serves from."""

    store: Store
    settings: Settings
    clock: Clock
    health: Health
    readmit: Readmit
    feed: Feed
    outlooks: dict[object, dict[str, object] | None] = field(default_factory=dict)
    kept: dict[str, object] = field(default_factory=dict)


def _rooms(request: Request) -> Rooms:
    rooms: Rooms = request.app.state.rooms
    return rooms


Here = Annotated[Rooms, Depends(_rooms)]
