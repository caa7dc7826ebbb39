"""What room a colony has, and by when it wants more: for its bees, or for nectar."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from hivewatch.comb.held import Held
from hivewatch.comb.reading import Range
from hivewatch.frames import Frame
from hivewatch.signals.season import northern_day, seasons_weight

CROWDED_PART = 0.85
"""Part of the seams covered with bees from which a hive is crowded. Own choice next to the common
practice (no source) of giving room when eight of ten combs are covered."""

FULL_PART = 0.7
"""Part of the comb that honey may fill before more is wanted. Own choice next to the common
practice (no source) of giving the next super when the last is two thirds full: nectar takes more
room than the honey that it becomes (of nectar of 40 % sugar 49 % remain: mass balance)."""

POLLEN_PART = 0.1  # of the combs of the brood boxes. Own choice: one of ten combs

LEAST_GAIN_KG = 0.2  # [kg/d] own choice: with less no hive fills

SUPER_BEFORE_DAYS = 3  # own choice: a visit's notice

FOR_BEES_UNTIL, FOR_NECTAR_UNTIL = 213.0, 258.0
"""Day of the year, as at 47 degrees north, after which crowded bees, and a flow, ask for no super:
1 August, 15 September. Own choices: later no swarm leaves and the colony shrinks by itself, and
what comes in is winter food (common practice, no source)."""

Press = Literal["bees", "nectar"]


@dataclass(frozen=True)
class Room:
    """When room is used up; None where it is not within the days looked at, or nothing tells.

    Parameters
    ----------
    seams_of_bees, seams : float or None
        Seams covered today, and seams there are: of brood boxes and supers, in seams of the former.
    supers : int
        Standing.
    space_kg : float or None
        Honey that fits before more room is wanted. [kg]
    gain_kg : float or None
        What the hive gains a day. [kg/d]
    crowded_on, full_on : date or None
        The day on which bees, and honey, have used it up.
    super_by : date or None
        The day by which a super must be on.
    pressed_by : str or None
        Which of the two makes it so.
    """

    seams_of_bees: float | None = None
    seams: float | None = None
    supers: int = 0
    space_kg: float | None = None
    gain_kg: float | None = None
    crowded_on: date | None = None
    full_on: date | None = None
    super_by: date | None = None
    pressed_by: Press | None = None


@dataclass(frozen=True)
class Boxes:
    """The boxes of a hive.

    Parameters
    ----------
    seams, bees_a_seam : float or None
        Seams between the combs of the brood boxes, and bees on both combs of a full one.
    frame : Frame or None
        Of the brood boxes.
    box_combs : int
        Combs in one box.
    """

    seams: float | None = None
    bees_a_seam: float | None = None
    frame: Frame | None = None
    box_combs: int = 0


def room_of(
    boxes: Boxes,
    held: Held,
    adults: Mapping[int, Range],
    brood_cells: float,
    as_of: date,
    latitude: float,
) -> Room:
    """Say when room is used up, and by which of the two.

    Parameters
    ----------
    boxes : Boxes
        What stands there, without supers.
    held : Held
        Supers, what is in them, and what comes in.
    adults : Mapping[int, Range]
        Bees, by days ahead.
    brood_cells : float
        Cells with brood today.
    as_of : date
        Today.
    latitude : float
        Of the yard. [deg]
    """
    seams, bees_a_seam, frame = boxes.seams, boxes.bees_a_seam, boxes.frame
    if seams is not None and frame is not None:
        seams += held.supers * boxes.box_combs * frame.super_dm2 / frame.side_dm2
    crowded_on = None
    if seams and bees_a_seam:
        crowded = [ahead for ahead in adults if _is_crowded(adults[ahead], seams * bees_a_seam)]
        crowded_on = as_of + timedelta(days=min(crowded)) if crowded else None
    space_kg = _space(boxes, held, brood_cells)
    full_on = _full_on(space_kg, held.gain_kg, as_of, max(adults))
    presses: list[tuple[date, Press]] = []
    if crowded_on and _is_before(crowded_on, latitude, FOR_BEES_UNTIL):
        presses.append((crowded_on, "bees"))
    if full_on and _is_before(full_on, latitude, FOR_NECTAR_UNTIL):
        presses.append((full_on, "nectar"))
    first = min(presses, default=None)
    return Room(
        seams_of_bees=adults[0].median / bees_a_seam if bees_a_seam else None,
        seams=seams,
        supers=held.supers,
        space_kg=space_kg,
        gain_kg=held.gain_kg,
        crowded_on=crowded_on,
        full_on=full_on,
        super_by=max(as_of, first[0] - timedelta(days=SUPER_BEFORE_DAYS)) if first else None,
        pressed_by=first[1] if first else None,
    )


def _is_crowded(bees: Range, most: float) -> bool:
    """Say whether most members cover more seams than they should."""
    return bees.median > CROWDED_PART * most


def _space(boxes: Boxes, held: Held, brood_cells: float) -> float | None:
    """Give the honey that fits: into the supers, or without any beside the brood. [kg]."""
    frame = boxes.frame
    if frame is None:
        return None
    if held.supers:
        if held.filled_kg is None:
            return None
        room_kg = FULL_PART * held.supers * boxes.box_combs * frame.super_kg
        return max(0.0, room_kg - held.filled_kg)
    if held.stores_kg is None or boxes.seams is None:
        return None
    with_brood = brood_cells / (2 * frame.side_cells)
    combs = max(0.0, (1 - POLLEN_PART) * boxes.seams - with_brood)
    return max(0.0, FULL_PART * combs * frame.honey_kg - held.stores_kg)


def _full_on(space_kg: float | None, gain_kg: float | None, as_of: date, ahead: int) -> date | None:
    """Give the day on which the space is used up at the present gain."""
    if space_kg is None or gain_kg is None or gain_kg < LEAST_GAIN_KG:
        return None
    days = math.ceil(space_kg / gain_kg)
    return as_of + timedelta(days=days) if days <= ahead else None


def _is_before(day: date, latitude: float, last: float) -> bool:
    """Say whether a day lies before some day of the year; where there are no seasons, always."""
    number = northern_day(day, latitude)
    return seasons_weight(latitude) == 0.0 or number <= last
