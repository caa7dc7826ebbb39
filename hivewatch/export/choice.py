"""Which records are exported: of which hives, yards, quantities, of which time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import Connection

from hivewatch.apiary import placed_spans
from hivewatch.mistakes import check_known
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.open import Store
from hivewatch.store.pages import END_MS, read_page, read_page_received
from hivewatch.store.whole import Rows, Wanted
from hivewatch.wire.quantities import BY_NUMBER, QUANTITIES

ROWS = 40_000  # own choice: readings in memory at once, some ten megabytes
END_S = END_MS // 1000


@dataclass(frozen=True, slots=True)
class Choice:
    """Which records: all, or those of some hives or yards, of a time; readings of some quantities.

    With `received` each reading is told with when it came, so that a replay goes as it went.
    """

    hives: Sequence[str] = ()
    yards: Sequence[str] = ()
    quantities: Sequence[str] = ()
    since_s: int = 0
    until_s: int = END_S
    received: bool = True


class Stay(NamedTuple):
    """Readings of one device: from included, until excluded, in ms."""

    device: str
    number: int
    from_ms: int
    until_ms: int


class Chosen(NamedTuple):
    """What a choice means in the store as it is now."""

    wanted: Wanted
    stays: Sequence[Stay]
    quantities: Sequence[int]
    received: bool


def look_up(connection: Connection, choice: Choice) -> Chosen:
    """Say which records a choice means.

    Raises
    ------
    UsageError
        If there is no such hive, yard or quantity.
    """
    apiary = apiary_rows.read(connection)
    for name in choice.hives:
        check_known("--hive", name, [one.id for one in apiary.hives])
    for name in choice.yards:
        check_known("--yard", name, [one.id for one in apiary.yards])
    for name in choice.quantities:
        check_known("--quantity", name, QUANTITIES)
    numbers = apiary_rows.numbers(connection)
    low_ms, high_ms = choice.since_s * 1000, choice.until_s * 1000
    is_of_some = bool(choice.hives or choice.yards)
    hives = {one.id for one in apiary.hives if one.id in choice.hives or one.yard in choice.yards}
    if is_of_some:
        stays = [
            Stay(
                name,
                numbers[name],
                max(from_s * 1000, low_ms),
                high_ms if until_s is None else min(until_s * 1000, high_ms),
            )
            for hive in sorted(hives)
            for name, from_s, until_s in placed_spans(apiary.placements, hive)
        ]
    else:
        stays = [Stay(name, number, low_ms, high_ms) for name, number in numbers.items()]
    wanted = Wanted(
        hives=hives if is_of_some else None,
        yards=choice.yards,
        stays=[(one.device, one.from_ms // 1000, one.until_ms // 1000) for one in stays],
        since_s=choice.since_s,
        until_s=choice.until_s,
        is_all=not is_of_some and (choice.since_s, choice.until_s) == (0, END_S),
    )
    quantities = [QUANTITIES[name].number for name in choice.quantities] or list(BY_NUMBER)
    return Chosen(wanted, sorted(stays), quantities, choice.received)


def readings(store: Store, chosen: Chosen) -> Iterator[Rows]:
    """Read page by page, by device and time; each a moment of its own: nothing stored changes."""
    names = {number: one.name for number, one in BY_NUMBER.items()}
    read = read_page_received if chosen.received else read_page
    for stay in chosen.stays:
        next_ms: int | None = stay.from_ms
        while next_ms is not None:
            with store.read() as connection:
                page, next_ms = read(
                    connection,
                    stay.number,
                    next_ms,
                    ROWS,
                    until_ms=stay.until_ms,
                    quantities=chosen.quantities,
                )
            yield [
                (time_ms, stay.device, names[quantity], *measured)
                for time_ms, quantity, *measured in page
            ]
