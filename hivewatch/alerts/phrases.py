"""What to say of each kind: what it is, what to do, what to take, what to mind.

The advice is common practice, no source; local rules and the people on the spot go first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from hivewatch.timeline.kit import LIFTING, STINGS


@dataclass(frozen=True, slots=True)
class Phrase:
    """The words for one kind.

    Parameters
    ----------
    head : str
        After the name of one hive, device or yard: ``toppled``.
    many : str
        After a count of them: ``hives toppled``.
    what : str
        A sentence; ``{who}`` stands for the hive, device or yard.
    do, take, mind : str
        What to do, what to bring, and the cautions; empty where there is nothing to say.
    """

    head: str
    many: str
    what: str
    do: str
    take: str = ""
    mind: str = ""


_DISEASE = (
    "If the brood looks or smells wrong, close the hive, move nothing to other hives and ask"
    " your bee inspector: some diseases must be reported by law."
)

PHRASES: Mapping[str, Phrase] = MappingProxyType(
    {
        "toppled": Phrase(
            "toppled",
            "hives toppled",
            "{who} has come off its scale and looks knocked over.",
            "Go as soon as it is safe; set it up box by box, close it, strap it, and look for the"
            " queen another day. In the dark, wait for first light unless somebody is in danger.",
            "Full suit, smoker, strap, a spare floor and cover, a torch, a second person.",
            "A toppled hive is defensive: suit up before you come near, keep people and animals"
            " away, and leave if they follow you. Lift with a second person, or box by box. Whoever"
            " has been stung often or feels unwell needs a doctor at once.",
        ),
        "taken": Phrase(
            "gone from its scale",
            "hives gone from their scales",
            "{who} is gone from its scale: the weight fell to nothing and stayed there.",
            "Ask who may have moved it. If nobody did, note the time and tell the police;"
            " the readings are evidence.",
            "Somebody with you, and a camera.",
            "Stop nobody yourself, and do not go alone at night.",
        ),
        "swarm": Phrase(
            "swarmed",
            "hives swarmed",
            "A swarm has left {who}.",
            "Look in trees and hedges near the hive today; check the hive for queen cells in the"
            " next few days.",
            "A box or skep, a sheet, a veil, a spray bottle of water.",
            "Leave a swarm that hangs high, over a road or near power lines; ladders and bees are"
            " a bad mix.",
        ),
        "swarm_risk": Phrase(
            "likely to swarm",
            "hives likely to swarm",
            "{who} may swarm soon.",
            "Give room, look for queen cells, and split it if that is your way.",
            "Supers, a spare box with frames.",
            f"{STINGS} {LIFTING}",
        ),
        "robbing": Phrase(
            "being robbed",
            "hives being robbed",
            "{who} is being robbed.",
            "Make the entrance one bee wide, open no hive, feed nothing and spill nothing.",
            "Entrance block or grass, veil.",
            "Robbed colonies sting: full suit, and keep passers-by away.",
        ),
        "queen_trouble": Phrase(
            "laying stopped or failing",
            "hives with laying stopped or failing",
            "In {who} laying has stopped or is failing.",
            "Look for eggs, young larvae and queen cells before you change anything.",
            "Smoker, a good light, a marked frame of eggs from another hive.",
            f"{STINGS} {_DISEASE}",
        ),
        "low_stores": Phrase(
            "short of food",
            "hives short of food",
            "{who} has little food left.",
            "Feed it, late in the day, inside the hive.",
            "Syrup, or fondant when it is cold; a feeder.",
            STINGS,
        ),
        "dead_out": Phrase(
            "without life",
            "hives without life",
            "{who} shows no warmth and no traffic: the colony is probably dead.",
            "Close the entrance before robbers come, then find out why.",
            "Entrance block, gloves, a bag for a sample.",
            f"Use none of its combs before you know why it died. {_DISEASE}",
        ),
        "forager_loss": Phrase(
            "losing foragers",
            "hives losing foragers",
            "Many foragers of {who} did not come home.",
            "Look for dead bees at the entrance and note what blooms or is sprayed near by."
            " Chill a sample the same day, and report a suspected poisoning to the authority that"
            " the law names.",
            "Veil, gloves, clean bags, a cool box, a camera.",
            "Touch no sprayed plants or dead bees with bare hands.",
        ),
        "chilled_brood": Phrase(
            "brood too cold",
            "hives with brood too cold",
            "The brood of {who} is too cold.",
            "Make the space fit the bees: take empty boxes off, stop draughts.",
            "A dividing board.",
            f"Open it on a mild day only. {STINGS} {_DISEASE}",
        ),
        "overheating": Phrase(
            "too hot",
            "hives too hot",
            "{who} is too hot.",
            "Give shade, a wide entrance and water near by.",
            "A board for shade, water.",
            "Soft combs tear: turn or lift no frame in the heat, and mind the heat yourself."
            f" {STINGS}",
        ),
        "nectar_flow": Phrase(
            "nectar comes in",
            "places where nectar comes in",
            "A nectar flow has begun at {who}.",
            "See that there is room.",
            "Supers.",
            f"{LIFTING} {STINGS}",
        ),
        "dearth": Phrase(
            "no nectar",
            "places without nectar",
            "Nothing comes in at {who} any more.",
            "Watch stores, narrow entrances, spill nothing.",
            "Entrance blocks.",
        ),
        "silent": Phrase(
            "silent",
            "devices silent",
            "{who} has sent nothing for a while; nothing can be said of its hive meanwhile.",
            "Check its battery, its radio and the gateway; many at once mean the gateway.",
            "A charged battery, a meter, veil.",
            "Leave mains wiring to somebody who may touch it.",
        ),
        "stuck": Phrase(
            "stuck on one value",
            "devices stuck on one value",
            "{who} sends the same value all the time.",
            "Check its cable and sensor.",
            "A spare sensor.",
            STINGS,
        ),
        "clock": Phrase(
            "its clock is wrong",
            "devices with a wrong clock",
            "{who} gives its readings wrong times.",
            "Set its clock; what it sent with a time too far ahead waits in quarantine.",
        ),
        "low_battery": Phrase(
            "battery low",
            "devices with a low battery",
            "The battery of {who} is low; it will fall silent.",
            "Change or charge the battery.",
            "A charged battery, a meter.",
            "No sparks near a battery, and mind the acid of lead ones.",
        ),
        "scale_drift": Phrase(
            "scale drifts",
            "scales that drift",
            "The scale {who} drifts.",
            "Check it with a known weight, and that nothing touches the hive.",
            "A known weight.",
            LIFTING,
        ),
        "handling": Phrase("handled", "hives handled", "Somebody opened or moved {who}.", ""),
        "brood_onset": Phrase("brood begins", "hives with brood", "{who} has begun brooding.", ""),
        "brood_end": Phrase("brood ends", "hives without brood", "{who} has stopped brooding.", ""),
        "orientation_flight": Phrase(
            "young bees fly", "hives with young bees flying", "Young bees of {who} fly.", ""
        ),
    }
)


def phrase(kind: str) -> Phrase:
    """Give the words for a kind, plain ones for a kind that has none of its own."""
    plain = kind.replace("_", " ")
    return PHRASES.get(kind) or Phrase(
        plain, f"times {plain}", f"{{who}}: {plain}.", "Have a look at the pages."
    )
