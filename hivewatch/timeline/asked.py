"""A question to the keeper, and the answers that one tap gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal

from hivewatch.inspections import Inspection

About = Literal["unwritten", "unfelt", "differs", "twice"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What one tap says.

    Parameters
    ----------
    label : str
        In the keeper's words.
    says : Inspection or None
        What is written down then, or what the inspection is corrected to; None: it is withdrawn.
    """

    label: str
    says: Inspection | None


@dataclass(frozen=True, slots=True)
class Question:
    """Something to ask the keeper.

    Parameters
    ----------
    id : str
        Stays the same as long as the question does: that of the finding or inspection it is about,
        with a word before it.
    about : str
        ``unwritten``: something was done and nobody wrote it down; ``unfelt``: something was
        written down and the scale felt nothing; ``differs``: it felt another weight; ``twice``:
        two entries of one visit say the same, and it felt it once.
    hive : str
        Which hive.
    at_s : int
        The moment it is about. [s]
    text : str
        The question, with the hive's own time in it.
    yes : Inspection or None
        What a "yes" writes down; its key is the question's id, so that two taps store it once.
    answers : sequence of Answer
        All that one tap can say.
    finding, inspection : str or None
        The ids of what it is about.
    """

    id: str
    about: About
    hive: str
    at_s: int
    text: str
    answers: Sequence[Answer] = ()
    yes: Inspection | None = None
    finding: str | None = None
    inspection: str | None = None


def capital(words: str) -> str:
    """Let it begin with a capital letter."""
    return f"{words[0].upper()}{words[1:]}"


def said(at_s: int, zone: tzinfo) -> str:
    """Say a moment in the hive's own time."""
    at = datetime.fromtimestamp(at_s, zone)
    return f"{at:%A} {at.day} {at:%B} at {at:%H:%M}"
