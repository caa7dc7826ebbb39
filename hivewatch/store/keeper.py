"""The hives' windows, kept from look to look: what is new is read, and only the last is kept."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection

from hivewatch.apiary import Apiary
from hivewatch.signals.carried import AHEAD_S, Carried
from hivewatch.signals.carried import NOTHING as CARRIED_NOTHING
from hivewatch.signals.window import HiveWindow
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.lent import lent_to
from hivewatch.store.stays import (
    NOTHING,
    Span,
    Stay,
    Stays,
    is_other_voice,
    last_of,
    read_on,
    read_stay,
    spans_of,
)
from hivewatch.store.windows import window_of

KEPT_BYTES = 800_000_000  # own choice: a thousand hives; of more, the rest is read anew each time
OF_CARRIED_BYTES = 250_000  # own choice: about what is carried of a hive takes


@dataclass(frozen=True, slots=True)
class _Kept:
    """What is kept of one hive: its devices' stays, and what is known of the days before."""

    stays: Stays
    carried: Carried

    @property
    def bytes(self) -> int:
        """The memory it takes, about."""
        carried = OF_CARRIED_BYTES if self.carried.until_s else 0
        return carried + sum(stay.bytes for _, stay in self.stays)

    def of(self, span: Span) -> Stay:
        """Give a device's stay."""
        same = (stay for known, stay in self.stays if known.key == span.key)
        return next(same, NOTHING)


NOTHING_KEPT = _Kept((), CARRIED_NOTHING)


class WindowKeeper:
    """Reads windows and keeps what it read, so that next time only what changed is read.

    Of a window that rests on what was carried before, see `hivewatch.signals.carried`, only the
    last readings are kept. What was used longest ago is let go when more than `bytes_max` would be
    kept.
    """

    def __init__(self, bytes_max: int = KEPT_BYTES) -> None:
        """Start with nothing kept."""
        self._bytes_max = bytes_max
        self._kept: dict[str, _Kept] = {}
        self._bytes: dict[str, int] = {}
        self._total = 0
        self._numbers: dict[str, int] = {}
        self._numbered: Apiary | None = None
        self._lent: dict[str, set[str]] = {}

    def read(
        self,
        connection: Connection,
        apiary: Apiary,
        hive_id: str,
        as_of_s: int,
        changed_ms: Mapping[str, int],
    ) -> HiveWindow:
        """Read a hive's window as `read_window` does.

        Parameters
        ----------
        changed_ms : Mapping
            Device -> from when on its readings have changed since the last time. [ms]
        """
        kept = self._kept.get(hive_id, NOTHING_KEPT)
        self.forget(hive_id)
        numbers = self.numbers(connection, apiary)
        own = spans_of(connection, apiary, hive_id, as_of_s, numbers)
        lent = lent_to(connection, apiary, hive_id, own, as_of_s, numbers=numbers)
        self._note_lent(hive_id, {span.device for span in lent})
        spans = [*own, *lent]
        known_ms = 1000 * (kept.carried.until_s + AHEAD_S)
        if any(changed_ms.get(span.device, known_ms) < known_ms for span in spans):
            kept = NOTHING_KEPT  # it came too late
        stays = _go_on(connection, spans, kept, changed_ms)
        if kept.carried.until_s and is_other_voice(kept.stays, stays, known_ms):
            kept = NOTHING_KEPT
            stays = _go_on(connection, spans, kept, changed_ms)
        self._keep(hive_id, _Kept(stays, kept.carried))
        window = window_of(connection, apiary, hive_id, as_of_s, stays)
        return replace(window, carried=kept.carried) if kept.carried.until_s else window

    def carry(self, hive_id: str, carried: Carried, asked_from_s: tuple[int, int]) -> None:
        """Keep what the next window may rest on, and of the readings only what is still asked.

        Parameters
        ----------
        asked_from_s : tuple of int
            Since when: the readings of the hive, and those of its devices themselves. [s]
        """
        kept = self._kept.get(hive_id)
        if kept is None:
            return
        self.forget(hive_id)
        self._keep(hive_id, _Kept(last_of(kept.stays, *asked_from_s), carried))

    def lent_by(self, device: str) -> Collection[str]:
        """Name the hives that took air or rain from another hive's device when last read."""
        return self._lent.get(device, ())

    def numbers(self, connection: Connection, apiary: Apiary) -> Mapping[str, int]:
        """Give the numbers of the devices that are placed; a device keeps its number for ever."""
        if self._numbered is not apiary:
            self._numbers, self._numbered = apiary_rows.numbers(connection), apiary
        return self._numbers

    def forget(self, hive_id: str) -> None:
        """Read all of a hive anew next time: its devices have moved."""
        if self._kept.pop(hive_id, None) is not None:
            self._total -= self._bytes.pop(hive_id)

    def _note_lent(self, hive_id: str, devices: Collection[str]) -> None:
        for hives in self._lent.values():
            hives.discard(hive_id)
        for one in devices:
            self._lent.setdefault(one, set()).add(hive_id)

    def _keep(self, hive_id: str, kept: _Kept) -> None:
        """Keep what was read, within the limit; the hive read last goes last."""
        self._kept[hive_id] = kept
        self._bytes[hive_id] = kept.bytes
        self._total += self._bytes[hive_id]
        while self._total > self._bytes_max:
            self.forget(next(iter(self._kept)))


def _go_on(
    connection: Connection, spans: Sequence[Span], kept: _Kept, changed_ms: Mapping[str, int]
) -> list[tuple[Span, Stay]]:
    """Read what is new of each stay."""
    stays = []
    for span in spans:
        before = kept.of(span)
        from_ms = min(before.until_ms, changed_ms.get(span.device, before.until_ms))
        from_ms = max(span.from_ms, from_ms // 1000 * 1000)
        is_new = before is NOTHING
        stay = read_stay(connection, span) if is_new else read_on(connection, span, before, from_ms)
        stays.append((span, stay))
    return stays
