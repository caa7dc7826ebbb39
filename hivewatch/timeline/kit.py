"""What to take along, for each thing that can be the matter and totalled for a yard; what to mind.

The lists and the cautions are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Item:
    """Something to take along.

    Parameters
    ----------
    what : str
        Such as ``super``.
    count : int
        How many, or how many kg where `unit` says so.
    unit : str
        ``kg``, or empty for pieces.
    fits : str
        Frame of the hives it is for; empty where that does not matter.
    is_shared : bool
        One serves the whole yard.
    """

    what: str
    count: int = 1
    unit: str = ""
    fits: str = ""
    is_shared: bool = False


STINGS = "Veil and gloves on before you open; smoke with care where the grass is dry."
LIFTING = "Full boxes are heavy: lift them with a second person, or comb by comb."
FEED_KG = 5  # [kg] own choice: what one feeder takes
FITTED = frozenset({"super", "spare hive", "frame of eggs"})
SUPER, SPARE_HIVE = Item("super"), Item("spare hive")
EGGS, QUEEN = Item("frame of eggs"), Item("queen")
FEED = Item("feed", FEED_KG, "kg")
BLOCK, BATTERY = Item("entrance block"), Item("charged battery")
METER, BAG = Item("meter", is_shared=True), Item("sample bag", is_shared=True)
PERSON = Item("second person", is_shared=True)
ALWAYS = (Item("veil and gloves", is_shared=True), Item("smoker", is_shared=True))

BY_KIND: Mapping[str, tuple[Item, ...]] = MappingProxyType(
    {
        "toppled": (
            Item("strap"),
            Item("spare floor and cover"),
            PERSON,
            Item("torch", is_shared=True),
        ),
        "taken": (PERSON, Item("camera", is_shared=True)),
        "swarm": (
            SPARE_HIVE,
            Item("sheet", is_shared=True),
            Item("water spray", is_shared=True),
        ),
        "swarm_risk": (SUPER, SPARE_HIVE),
        "robbing": (BLOCK,),
        "queen_trouble": (EGGS,),
        "low_stores": (FEED,),
        "dead_out": (BLOCK, BAG),
        "forager_loss": (BAG, Item("cool box", is_shared=True)),
        "chilled_brood": (Item("dividing board"),),
        "overheating": (Item("shade board"),),
        "silent": (BATTERY, METER),
        "low_battery": (BATTERY, METER),
        "stuck": (Item("spare sensor"),),
        "scale_drift": (Item("known weight", is_shared=True),),
    }
)
BY_DATE: Mapping[str, tuple[Item, ...]] = MappingProxyType(
    {"look for cells": (SPARE_HIVE,), "look for eggs": (EGGS,), "failed if no eggs": (QUEEN,)}
)


def for_hive(needs: Iterable[Iterable[Item]], frame: str) -> tuple[Item, ...]:
    """Put together what one hive needs: one super serves two reasons to have one."""
    kept: dict[tuple[str, str], Item] = {}
    for item in (one for need in needs for one in need):
        fitted = replace(item, fits=frame) if item.what in FITTED else item
        key = (fitted.what, fitted.fits)
        if key not in kept or kept[key].count < fitted.count:
            kept[key] = fitted
    return in_order(kept.values())


def for_yard(hives: Iterable[Iterable[Item]]) -> tuple[Item, ...]:
    """Total what the hives of a yard need; of what is shared, the most that one of them needs."""
    total: dict[tuple[str, str], Item] = {}
    for item in (one for hive in hives for one in hive):
        key = (item.what, item.fits)
        before = total.get(key)
        if before is None:
            total[key] = item
        elif item.is_shared:
            total[key] = replace(before, count=max(before.count, item.count))
        else:
            total[key] = replace(before, count=before.count + item.count)
    return in_order(total.values())


def in_order(items: Iterable[Item]) -> tuple[Item, ...]:
    """Put what is for one hive first, then what is shared; each by its name."""
    return tuple(sorted(items, key=lambda one: (one.is_shared, one.what, one.fits)))
