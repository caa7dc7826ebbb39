"""What only the keeper knows: a handling nobody wrote down, a super that the scale never felt."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from types import MappingProxyType
from typing import Literal

from hivewatch.detect.finding import Finding
from hivewatch.inspections import Action, Inspection
from hivewatch.inspections.fields import What
from hivewatch.timeline.stated import (
    ADDS,
    LEAST_KG,
    TAKES,
    Noted,
    agrees,
    error_kg,
    felt_kg,
    in_words,
    stated,
)

About = Literal["unwritten", "unfelt", "differs"]

UNWRITTEN, NOTED = (
    "unwritten-",
    "noted-",
)  # what ids begin with, before that of the finding or visit
ASK_FROM = 0.5  # own choice: of what is less likely than not, nobody is asked
HIVE_KG = 25.0  # [kg] own choice: more in one step is a hive, not a box
BOX_KG = 4.0  # [kg] own choice: an empty super with its frames
HONEY_KG = 10.0  # [kg] own choice: more than an empty super weighs

ADDED: Sequence[tuple[float, str, What]] = (
    (BOX_KG, "a super", "super added"),
    (LEAST_KG, "fed", "fed"),
)
TAKEN: Sequence[tuple[float, str, What]] = (
    (HONEY_KG, "honey taken", "harvested"),
    (BOX_KG, "a super taken off", "super removed"),
    (LEAST_KG, "something taken out", "other"),
)
HEAVIER: Sequence[What] = ("super added", "fed", "united", "other")
LIGHTER: Sequence[What] = ("super removed", "harvested", "split", "other")
UNWEIGHED: Sequence[What] = ("treated", "requeened")  # what a look can have been as well
OTHER_WAY: Mapping[What, What] = MappingProxyType(
    {"super added": "super removed", "super removed": "super added"}
)


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
        written down and the scale felt nothing; ``differs``: it felt another weight.
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


def questions(
    findings: Iterable[Finding],
    inspections: Iterable[Noted],
    zone: tzinfo,
    weighed: Collection[str] = (),
) -> list[Question]:
    """Say what to ask the keeper of one hive.

    Parameters
    ----------
    findings : Iterable[Finding]
        Settled and explained: they have their ids, and those of the visits that account for them.
    inspections : Iterable[Noted]
        What was written down of that hive.
    zone : tzinfo
        Of its yard.
    weighed : Collection[str]
        Ids of the inspections during which a scale reported; of others none can be unfelt.

    Returns
    -------
    list[Question]
        By time and id.
    """
    told = list(findings)
    by_visit: defaultdict[str, list[Finding]] = defaultdict(list)
    for one in told:
        if one.status == "explained" and one.explained_by is not None:
            by_visit[one.explained_by].append(one)
    asked = [_unwritten(one, zone) for one in told if _is_unwritten(one)]
    for visit in inspections:
        if visit.id in weighed:
            question = _unfelt(visit, by_visit[visit.id], zone)
            asked += [] if question is None else [question]
    return sorted(asked, key=lambda one: (one.at_s, one.id))


def _is_unwritten(finding: Finding) -> bool:
    return (
        finding.kind == "handling"
        and finding.status == "ended"
        and finding.confidence >= ASK_FROM
        and finding.subject.startswith("hive:")
    )


def _unwritten(finding: Finding, zone: tzinfo) -> Question:
    """Ask what somebody did."""
    hive = finding.subject.removeprefix("hive:")
    kg = felt_kg(finding) or 0.0
    size = ""
    if abs(kg) >= LEAST_KG:
        size = f", {abs(kg):.1f} kg {'heavier' if kg > 0 else 'lighter'}"
    guess, actions = _guess(kg)
    number = f"{UNWRITTEN}{finding.id}"
    yes = Inspection(
        hive=hive,
        at=datetime.fromtimestamp(finding.start_s, UTC),
        actions=tuple(actions),
        key=number,
    )
    answers = [Answer(f"Yes: {guess}", yes)]
    answers += [
        Answer(_named(one), yes.model_copy(update={"actions": (one,)}))
        for one in _others(kg)
        if one not in actions
    ]
    if actions:
        answers.append(Answer("Only a look", yes.model_copy(update={"actions": ()})))
    nobody = yes.model_copy(update={"actions": (), "opened": False})
    answers.append(Answer("Nobody opened it", nobody))
    return Question(
        id=number,
        about="unwritten",
        hive=hive,
        at_s=finding.start_s,
        text=f"Opened on {_said(finding.start_s, zone)}{size}: {guess}?",
        answers=answers,
        yes=yes,
        finding=finding.id,
    )


def _guess(kg: float) -> tuple[str, Sequence[Action]]:
    """Guess what a step was; common practice, no source, and the keeper answers."""
    weight = round(abs(kg), 1)
    if abs(kg) >= HIVE_KG:
        return "the hive moved", [Action(what="moved")]
    guesses = ADDED if kg > 0 else TAKEN
    for least_kg, words, what in guesses:
        if abs(kg) >= least_kg:
            return words, [Action(what=what, kg=weight)]
    return "a look", []


def _others(kg: float) -> list[Action]:
    """Name what a step of this weight may have been as well."""
    if abs(kg) < LEAST_KG:
        return [Action(what=what) for what in UNWEIGHED]
    weight = round(abs(kg), 1)
    return [Action(what=what, kg=weight) for what in (HEAVIER if kg > 0 else LIGHTER)]


def _named(action: Action) -> str:
    """Name an action as an answer."""
    if action.what == "other":
        return f"Something else, {action.kg:.1f} kg"
    return _capital(action.what)


def _unfelt(visit: Noted, caused: Sequence[Finding], zone: tzinfo) -> Question | None:
    """Hold what was written down against the scale."""
    said = stated(visit.inspection)
    if visit.inspection.sure:
        return None  # asked and answered
    if any(one.kind in {"toppled", "taken"} for one in caused):
        return None  # off the scale: nothing was weighed
    felt = sum(felt_kg(one) or 0.0 for one in caused)
    spread = sum(error_kg(one) for one in caused)
    about: About = "differs"
    if said.kg is not None:
        if abs(said.kg) < LEAST_KG or agrees(said.kg, felt, spread):
            return None
    elif said.way == 0 or felt * said.way >= LEAST_KG:
        return None
    if abs(felt) < LEAST_KG:
        about, words = "unfelt", "the scale never felt it: was it this hive, and that hour?"
    else:
        way = "heavier" if felt > 0 else "lighter"
        words = f"the scale says {abs(felt):.1f} kg {way}: which is right?"
    done = in_words(visit.inspection)
    at = _said(visit.inspection.at_s, zone)
    return Question(
        id=f"{NOTED}{visit.id}",
        about=about,
        hive=visit.inspection.hive,
        at_s=visit.inspection.at_s,
        text=f"{_capital(done)} on {at}, but {words}",
        answers=_corrections(visit.inspection, felt),
        inspection=visit.id,
    )


def _corrections(written: Inspection, felt: float) -> list[Answer]:
    """Give the ways to put an inspection right that the scale does not agree with."""
    weighing = [one for one in written.actions if one.what in ADDS or one.what in TAKES]
    answers = []
    if abs(felt) >= LEAST_KG and len(weighing) == 1:
        (one,) = weighing
        what = one.what if (felt > 0) == (one.what in ADDS) else OTHER_WAY.get(one.what, "other")
        kg = round(abs(felt), 1)
        right = tuple(Action(what=what, kg=kg) if done is one else done for done in written.actions)
        label = f"The scale is right: {'' if what == one.what else f'{what}, '}{kg:.1f} kg"
        answers.append(Answer(label, written.model_copy(update={"actions": right})))
    answers.append(Answer("It is right as written", written.model_copy(update={"sure": True})))
    rest = tuple(one for one in written.actions if one not in weighing)
    answers.append(Answer("It was not done", written.model_copy(update={"actions": rest})))
    answers.append(Answer("Another hive: take it back", None))
    return answers


def _capital(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}"


def _said(at_s: int, zone: tzinfo) -> str:
    at = datetime.fromtimestamp(at_s, zone)
    return f"{at:%A} {at.day} {at:%B} at {at:%H:%M}"
