"""Room and stores as JSON and in a keeper's sentences."""

from __future__ import annotations

from datetime import date

from hivewatch.comb.need import Need, Winter
from hivewatch.comb.room import LEAST_GAIN_KG, Room
from hivewatch.moments import spoken

WHOLE_KG = 10.0  # [kg] own choice: from here on stores are said in whole kilograms
LACK_KG = 0.5  # [kg] own choice: stores are known no better
LACKS_EMPTY = (
    "How much honey there is cannot be told from the weight: enter what the empty hive weighs, or "
    "write down at the next visit how much honey there is."
)
SPOKEN_OF_DAYS = 60  # own choice: from mid-July on a winter's need is spoken of


def room_dict(room: Room) -> dict[str, object]:
    """Give the JSON form of the contract, and what it rests on."""
    return {
        "seams_of_bees": _rounded(room.seams_of_bees),
        "crowded_on": _day(room.crowded_on),
        "super_by": _day(room.super_by),
        "pressed_by": room.pressed_by,
        "full_on": _day(room.full_on),
        "seams": _rounded(room.seams),
        "supers": room.supers,
        "space_kg": _rounded(room.space_kg),
        "gain_kg_a_day": None if room.gain_kg is None else round(room.gain_kg, 2),
    }


def stores_dict(need: Need) -> dict[str, object]:
    """Give the stores against the need."""
    held, winter = need.held, need.winter
    return {
        "kg": _rounded(held.stores_kg),
        "known_on": _day(held.stores_on),
        "known_by": None if held.stores_kg is None else "scale" if held.is_weighed else "visit",
        "need_kg": round(need.need_kg, 1),
        "lasts_until": _day(need.lasts_until),
        "winter": None
        if winter is None
        else {
            "since": winter.since.isoformat(),
            "until": winter.until.isoformat(),
            "need_kg": round(winter.need_kg, 1),
        },
    }


def describe_room(room: Room, as_of: date) -> list[str]:
    """Say how much room there is, and by when a super must be on, and why."""
    said = []
    boxes = "the brood boxes" if room.supers == 0 else "brood boxes and supers"
    if room.seams_of_bees is not None:
        many = round(room.seams_of_bees)
        seams = "There is 1 seam of bees" if many == 1 else f"There are {many} seams of bees"
        seams = "There is less than a seam of bees" if many == 0 else seams
        if room.crowded_on is None:
            said.append(f"{seams}, and there is room for them for three weeks.")
        elif room.super_by is None:
            said.append(f"{seams}: crowded, but so late in the year it will have fewer by itself.")
        elif room.crowded_on <= as_of:
            said.append(f"{seams}, and {boxes} are full: give room now.")
        elif room.pressed_by == "bees":
            said.append(
                f"{seams}, and {boxes} are full on {spoken(room.crowded_on)}: {_by(room, as_of)}."
            )
        else:
            said.append(f"{seams}, and {boxes} are full of them on {spoken(room.crowded_on)}.")
    if room.full_on is not None and room.gain_kg is not None:
        what = "the brood boxes have" if room.supers == 0 else _supers(room.supers)
        head = f"It gains about {room.gain_kg:.1f} kg a day, and {what} no room for more"
        when = "now" if room.full_on <= as_of else f"on {spoken(room.full_on)}"
        if room.pressed_by == "nectar":
            said.append(f"{head} {when}: {_by(room, as_of)}.")
        else:
            said.append(f"{head} {when}.")
    return said


def describe_need(need: Need, as_of: date) -> list[str]:
    """Say what there is against what it will eat, or what is missing to tell it by the scale."""
    held = need.held
    if held.stores_kg is None or held.stores_on is None:
        return [LACKS_EMPTY] if held.lacks_empty else []
    judged = "" if held.is_weighed else f", as judged on {spoken(held.stores_on)}"
    said = (
        f"Stores are about {_kg(held.stores_kg)}{judged}, and bees and brood eat about "
        f"{_kg(need.need_kg)} in three weeks"
    )
    comes = held.gain_kg is not None and held.gain_kg >= LEAST_GAIN_KG
    if comes:
        said += f", while about {held.gain_kg:.1f} kg a day are left over at present"
    elif need.lasts_until is not None:
        said += f": if nothing comes in, they last until {spoken(need.lasts_until)}"
    return [f"{said}.", *_winter(held.stores_kg, need.winter, as_of)]


def _winter(stores_kg: float, winter: Winter | None, as_of: date) -> list[str]:
    """Say from late summer on what the winter takes."""
    if winter is None or (winter.since - as_of).days > SPOKEN_OF_DAYS:
        return []
    missing = winter.need_kg - stores_kg
    said = f"Until {spoken(winter.until)} it needs about {_kg(winter.need_kg)}"
    if winter.since > as_of:
        said = f"From {spoken(winter.since)} to {spoken(winter.until)} it needs about "
        said += f"{_kg(winter.need_kg)} if nothing comes in"
    if missing > LACK_KG:
        return [f"{said}: about {_kg(missing)} are missing."]
    return [f"{said}: there is {'just ' if missing > 0 else ''}enough."]


def _by(room: Room, as_of: date) -> str:
    if room.super_by is None or room.super_by <= as_of:
        return "give room now"
    return f"have {'another' if room.supers else 'a'} super on by {spoken(room.super_by)}"


def _supers(supers: int) -> str:
    return "the super has" if supers == 1 else f"its {supers} supers have"


def _kg(kg: float) -> str:
    return f"{kg:.0f} kg" if kg >= WHOLE_KG else f"{kg:.1f} kg"


def _rounded(number: float | None) -> float | None:
    return None if number is None else round(number, 1)


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
