"""What an inspection says of the weight, held against what the scale felt."""

from __future__ import annotations

from typing import NamedTuple, Protocol

from hivewatch.detect.finding import Finding
from hivewatch.inspections import Action, Inspection

ADDS = frozenset({"super added", "fed", "united"})
TAKES = frozenset({"super removed", "harvested", "split"})
MOVES = frozenset({"moved", "united", "given away"})
SAME_VISIT_S = 5400  # [s] own choice: a visit takes an hour, and its time is noted at either end
LEAST_KG = 0.8  # [kg] own choice: what the watch can tell of a visit's step
AGREE_KG = 1.0  # [kg] own choice: boxes are judged by hand to a kilogram
AGREE_SHARE = 0.15  # own choice: heavy things are judged more roughly
AGREE_SPREADS = 3.0  # own choice: of the scale's own error


class Noted(Protocol):
    """An inspection that is written down under an id."""

    @property
    def id(self) -> str:
        """The id it is stored by."""

    @property
    def inspection(self) -> Inspection:
        """What was seen and done."""


class Stated(NamedTuple):
    """What the actions of a visit did to the weight, as they were written down.

    Parameters
    ----------
    kg : float or None
        Net, signed; None when an action that weighs something has no figure. [kg]
    way : int
        1 when all weighing actions add, -1 when all take away, 0 otherwise.
    """

    kg: float | None
    way: int


def stated(inspection: Inspection) -> Stated:
    """Add up what the actions of a visit say of the weight."""
    weighing = [one for one in inspection.actions if one.what in ADDS or one.what in TAKES]
    signs = {_sign(one) for one in weighing}
    kg = None
    if weighing and all(one.kg is not None for one in weighing):
        kg = sum(_sign(one) * (one.kg or 0.0) for one in weighing)
    return Stated(kg, signs.pop() if len(signs) == 1 else 0)


def _sign(action: Action) -> int:
    return 1 if action.what in ADDS else -1


def felt_kg(finding: Finding) -> float | None:
    """Give what a finding says of the weight; None where the scale says nothing. [kg]."""
    if finding.kind == "swarm":
        lost = finding.measures.get("kg_lost")
        return -float(lost) if isinstance(lost, int | float) else None
    kg = finding.measures.get("kg")
    return float(kg) if isinstance(kg, int | float) else None


def error_kg(finding: Finding) -> float:
    """Give the scale's own error of it. [kg]."""
    kg = finding.measures.get("kg_error")
    return float(kg) if isinstance(kg, int | float) else 0.0


def agrees(said_kg: float, scale_kg: float, spread_kg: float = 0.0) -> bool:
    """Say whether a figure by hand and one by scale can be the same thing."""
    allowed_kg = max(AGREE_KG, AGREE_SHARE * abs(said_kg), AGREE_SPREADS * spread_kg)
    return abs(said_kg - scale_kg) <= allowed_kg


def in_words(inspection: Inspection) -> str:
    """Name what was done, with the figures; what was seen, where nothing was done."""
    done = [
        one.what + (f", {one.kg:.1f} kg" if one.kg is not None else "")
        for one in inspection.actions
    ]
    return "; ".join(done) if done else "a look"
