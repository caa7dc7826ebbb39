"""Yards, hives, and who stands where and when."""

from __future__ import annotations

import zoneinfo
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Annotated, ClassVar, NamedTuple

from pydantic import AfterValidator, ConfigDict, Field, PlainValidator

from hivewatch.frames import FRAMES
from hivewatch.mistakes import Allowed, WrongValueError, did_you_mean, nearest
from hivewatch.moments import read_seconds

Moment = Annotated[
    int, PlainValidator(read_seconds), Allowed('a time such as "2026-03-01T00:00:00Z"')
]


@cache
def _zones() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones())


def _check_zone(name: str) -> str:
    if name not in _zones():
        lower = {zone.lower(): zone for zone in _zones()}
        near = nearest(name, lower)
        hint = (
            f"did you mean {lower[near]}?" if near else 'use an IANA name such as "Europe/London"'
        )
        raise WrongValueError("no such time zone", hint)
    return name


def _check_frame(name: str) -> str:
    if name not in FRAMES:
        otherwise = "use one of " + ", ".join(FRAMES)
        raise WrongValueError("no such frame", did_you_mean(name, FRAMES, otherwise))
    return name


def _check_printable(text: str) -> str:
    if not text.isprintable() or not text.strip():
        raise WrongValueError(
            "empty" if text.isprintable() else "has a character that does not print"
        )
    return text


Id = Annotated[
    str, Field(strict=True, pattern=r"^[a-z0-9-]{1,64}$"), Allowed("1 to 64 of a-z 0-9 -")
]
DeviceId = Annotated[
    str,
    Field(strict=True, pattern=r"^[A-Za-z0-9._-]{1,64}$"),
    Allowed("1 to 64 of A-Z a-z 0-9 . _ -"),
]
FORBID = ConfigDict(extra="forbid")


@dataclass(frozen=True)
class Yard:
    """A place where hives stand."""

    id: Id
    name: Annotated[
        str,
        Field(strict=True, max_length=200),
        AfterValidator(_check_printable),
        Allowed("1 to 200 characters in quotes"),
    ]
    latitude: Annotated[
        float,
        Field(strict=True, ge=-90, le=90, allow_inf_nan=False),
        Allowed("degrees from -90 (south) to 90 (north)"),
    ]
    longitude: Annotated[
        float,
        Field(strict=True, ge=-180, le=180, allow_inf_nan=False),
        Allowed("degrees from -180 (west) to 180 (east)"),
    ]
    timezone: Annotated[
        str, Field(strict=True), AfterValidator(_check_zone), Allowed("an IANA name in quotes")
    ]

    __pydantic_config__: ClassVar[ConfigDict] = FORBID


@dataclass(frozen=True)
class Hive:
    """A colony's home: its yard, its frames, and what it weighs without bees, brood and stores."""

    id: Id
    yard: Id
    frame: Annotated[
        str, Field(strict=True), AfterValidator(_check_frame), Allowed("a frame's name in quotes")
    ]
    frames: Annotated[int, Field(strict=True, ge=1, le=40), Allowed("a whole number, 1 to 40")]
    boxes: Annotated[int, Field(strict=True, ge=1, le=10), Allowed("a whole number, 1 to 10")]
    empty_kg: (
        Annotated[
            float,
            Field(strict=True, ge=0, le=200, allow_inf_nan=False),
            Allowed("kg from 0 to 200"),
        ]
        | None
    ) = None
    since: Moment | None = None  # when it began [s]; nobody can have looked into it before

    __pydantic_config__: ClassVar[ConfigDict] = FORBID


@dataclass(frozen=True)
class Placement:
    """From `since_s` on a device stands at a hive, or at none, until its next placement."""

    device: str
    hive: str | None
    since_s: int


@dataclass(frozen=True)
class Apiary:
    """All that is known of the places, in the order it was told."""

    yards: tuple[Yard, ...] = ()
    hives: tuple[Hive, ...] = ()
    placements: tuple[Placement, ...] = ()

    @cached_property
    def hive(self) -> Mapping[str, Hive]:
        """The hives by their id."""
        return {one.id: one for one in self.hives}

    @cached_property
    def yard(self) -> Mapping[str, Yard]:
        """The yards by their id."""
        return {one.id: one for one in self.yards}

    @cached_property
    def hives_of(self) -> Mapping[str, Collection[str]]:
        """Yard -> its hives, by their ids."""
        found: dict[str, list[str]] = {}
        for one in self.hives:
            found.setdefault(one.yard, []).append(one.id)
        return found

    @cached_property
    def zones(self) -> Mapping[str, zoneinfo.ZoneInfo]:
        """Hive -> the time zone of its yard."""
        return {one.id: zoneinfo.ZoneInfo(self.yard[one.yard].timezone) for one in self.hives}

    @cached_property
    def placements_of(self) -> Mapping[str, Collection[Placement]]:
        """Device -> where it stood and stands."""
        found: dict[str, list[Placement]] = {}
        for one in self.placements:
            found.setdefault(one.device, []).append(one)
        return found

    @cached_property
    def _stood_at(self) -> Mapping[str, Collection[str]]:
        found: dict[str, dict[str, None]] = {}
        for one in self.placements:
            if one.hive is not None:
                found.setdefault(one.hive, {})[one.device] = None
        return found

    @cached_property
    def _stood_in(self) -> Mapping[str, Sequence[Stood]]:
        found: dict[str, list[Stood]] = {}
        for hive in self.hives:
            found.setdefault(hive.yard, []).extend(
                Stood(from_s, device, hive.id, until_s)
                for device, from_s, until_s in self.spans(hive.id)
            )
        return {yard: sorted(some, key=lambda one: one[:3]) for yard, some in found.items()}

    def stood_in(self, yard: str) -> Sequence[Stood]:
        """List which devices stood at the hives of a yard, by start."""
        return self._stood_in.get(yard, ())

    def spans(self, hive: str) -> list[Span]:
        """List who stood at a hive and when: `placed_spans`, without asking all placements."""
        stood = self._stood_at.get(hive, ())
        return placed_spans((one for name in stood for one in self.placements_of[name]), hive)


class Stood(NamedTuple):
    """A device stood at a hive of a yard from `from_s` until before `until_s`, or still does."""

    from_s: int
    device: str
    hive: str
    until_s: int | None


class Span(NamedTuple):
    """A device stood at a hive from `from_s` until before `until_s`, or still does."""

    device: str
    from_s: int
    until_s: int | None


def stands(placements: Iterable[Placement], device: str, time_s: int) -> str | None:
    """Name the hive that a device stood at, if at any."""
    past = [p for p in placements if p.device == device and p.since_s <= time_s]
    return max(past, key=lambda p: p.since_s).hive if past else None


def placed_spans(placements: Iterable[Placement], hive: str) -> list[Span]:
    """List who stood at a hive and when, by start; a device told twice in a row is one span."""
    placements = list(placements)
    stood_here = {placement.device for placement in placements if placement.hive == hive}
    by_device: dict[str, list[Placement]] = {}
    for placement in placements:
        if placement.device in stood_here:
            by_device.setdefault(placement.device, []).append(placement)
    spans: list[Span] = []
    for device, told_of in by_device.items():
        since: int | None = None
        for placement in sorted(told_of, key=lambda p: p.since_s):
            if placement.hive == hive:
                since = placement.since_s if since is None else since
            elif since is not None:
                spans.append(Span(device, since, placement.since_s))
                since = None
        if since is not None:
            spans.append(Span(device, since, None))
    return sorted(spans, key=lambda span: (span.from_s, span.device))
