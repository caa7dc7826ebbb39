"""What only the keeper knows: what was done and not written down, and what is in doubt."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import UTC, datetime, tzinfo

from hivewatch.detect.finding import Finding
from hivewatch.inspections import Action, Inspection
from hivewatch.inspections.fields import What
from hivewatch.timeline.asked import Answer, Question, capital, said
from hivewatch.timeline.doubted import doubt
from hivewatch.timeline.stated import LEAST_KG, Noted, felt_kg

UNWRITTEN = "unwritten-"  # what ids begin with, before that of the finding
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
    noted = list(inspections)
    doubts = (doubt(one, noted, by_visit, zone) for one in noted if one.id in weighed)
    asked += [one for one in doubts if one is not None]
    asked += [_carried_off(one, zone) for one in told if _is_gone(one)]
    return sorted(asked, key=lambda one: (one.at_s, one.id))


def _is_unwritten(finding: Finding) -> bool:
    return (
        finding.kind == "handling"
        and finding.status == "ended"
        and finding.confidence >= ASK_FROM
        and finding.subject.startswith("hive:")
    )


def _is_gone(finding: Finding) -> bool:
    return finding.kind == "taken" and finding.status == "open" and finding.confidence >= ASK_FROM


def _carried_off(finding: Finding, zone: tzinfo) -> Question:
    """Ask whether one of the keepers took a hive away."""
    hive = finding.subject.removeprefix("hive:")
    number = f"{UNWRITTEN}{finding.id}"
    at = datetime.fromtimestamp(finding.start_s, UTC)
    ways: Sequence[tuple[str, What]] = (
        ("Given away or sold", "given away"),
        ("Moved elsewhere", "moved"),
    )
    return Question(
        id=number,
        about="unwritten",
        hive=hive,
        at_s=finding.start_s,
        text=f"Gone from its scale on {said(finding.start_s, zone)}: did one of you take it?",
        answers=[
            Answer(words, Inspection(hive=hive, at=at, actions=(Action(what=what),), key=number))
            for words, what in ways
        ],
        finding=finding.id,
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
        text=f"Opened on {said(finding.start_s, zone)}{size}: {guess}?",
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
    return capital(action.what)
