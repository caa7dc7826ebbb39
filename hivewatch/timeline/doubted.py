"""What was written down and the scale does not bear out: wrong, of another hive, or told twice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from types import MappingProxyType

from hivewatch.detect.finding import Finding
from hivewatch.inspections import Action, Inspection
from hivewatch.inspections.fields import What
from hivewatch.timeline.asked import About, Answer, Question, capital, said
from hivewatch.timeline.stated import (
    ADDS,
    LEAST_KG,
    SAME_VISIT_S,
    TAKES,
    Noted,
    agrees,
    error_kg,
    felt_kg,
    in_words,
    stated,
)

NOTED = "noted-"  # what ids begin with, before that of the visit
OTHER_WAY: Mapping[What, What] = MappingProxyType(
    {"super added": "super removed", "super removed": "super added"}
)


def doubt(
    visit: Noted, others: Sequence[Noted], caused: Mapping[str, Sequence[Finding]], zone: tzinfo
) -> Question | None:
    """Hold what was written down against the scale.

    Parameters
    ----------
    visit : Noted
        The entry to ask about, at a hive whose scale was at work.
    others : sequence of Noted
        What else was written down, of whichever hives.
    caused : Mapping
        Entry -> the findings that it accounts for.
    zone : tzinfo
        Of the yard.

    Returns
    -------
    Question or None
        None where they agree, where nothing can be said, and where somebody has answered.
    """
    own = caused.get(visit.id, ())
    if visit.inspection.sure or any(one.kind in {"toppled", "taken"} for one in own):
        return None  # asked and answered; or off the scale: nothing was weighed
    felt = _felt_kg(own)
    if not _is_odd([visit], caused):
        return None
    together = [one for one in others if _is_one_visit(one.inspection, visit.inspection)]
    if together and not _is_odd([visit, *together], caused):
        return None  # each wrote down his part
    done, at = capital(in_words(visit.inspection)), said(visit.inspection.at_s, zone)
    twin = next((one for one in together if _is_told_by(one, visit, caused)), None)
    about: About = "differs"
    answers = _corrections(visit.inspection, felt)
    if twin is not None and not own:
        about, answers = "twice", _of_twins(visit.inspection)
        text = f"{done} on {at}{_names(visit, twin)}: the scale felt it once. One and the same?"
    elif abs(felt) < LEAST_KG:
        about = "unfelt"
        text = f"{done} on {at}, but the scale never felt it: was it this hive, and that hour?"
    else:
        way = "heavier" if felt > 0 else "lighter"
        text = f"{done} on {at}, but the scale says {abs(felt):.1f} kg {way}: which is right?"
    return Question(
        id=f"{NOTED}{visit.id}",
        about=about,
        hive=visit.inspection.hive,
        at_s=visit.inspection.at_s,
        text=text,
        answers=answers,
        inspection=visit.id,
    )


def _felt_kg(caused: Sequence[Finding]) -> float:
    return sum(felt_kg(one) or 0.0 for one in caused)


def _is_odd(entries: Sequence[Noted], caused: Mapping[str, Sequence[Finding]]) -> bool:
    """Say whether what entries say together is not what the scale felt of them."""
    own = [one for entry in entries for one in caused.get(entry.id, ())]
    felt, spread = _felt_kg(own), sum(error_kg(one) for one in own)
    told = [stated(one.inspection) for one in entries]
    weighing = [one for one in told if one.kg is not None or one.way]
    if any(one.kg is None for one in weighing):
        ways = {one.way for one in weighing}
        return len(ways) == 1 and felt * ways.pop() < LEAST_KG
    kg = sum(one.kg or 0.0 for one in weighing)
    return abs(kg) >= LEAST_KG and not agrees(kg, felt, spread)


def _is_one_visit(one: Inspection, other: Inspection) -> bool:
    """Say whether two entries can be of one visit: of one hive, and of about one time."""
    return (
        one is not other
        and one.opened
        and one.hive == other.hive
        and abs(one.at_s - other.at_s) <= SAME_VISIT_S
    )


def _is_told_by(other: Noted, visit: Noted, caused: Mapping[str, Sequence[Finding]]) -> bool:
    """Say whether another entry tells the same, and the scale bears that one out."""
    (mine, _), (its, _) = _parts(visit.inspection), _parts(other.inspection)
    if {one.what for one in mine} != {one.what for one in its} or _is_odd([other], caused):
        return False
    here, there = stated(visit.inspection).kg, stated(other.inspection).kg
    return here is None or there is None or agrees(here, there)


def _parts(written: Inspection) -> tuple[list[Action], tuple[Action, ...]]:
    """Part what was done into what weighs something and the rest."""
    weighing = [one for one in written.actions if one.what in ADDS or one.what in TAKES]
    return weighing, tuple(one for one in written.actions if one not in weighing)


def _names(visit: Noted, twin: Noted) -> str:
    """Say that it stands there twice, and who wrote it."""
    by, other = visit.inspection.by, twin.inspection.by
    if by is None or other is None or by == other:
        return " is written down twice"
    return f" is written down by {other} and by {by}"


def _of_twins(written: Inspection) -> list[Answer]:
    """Give what can be so when two entries of one visit say the same."""
    _, rest = _parts(written)
    return [
        Answer("The same: count it once", written.model_copy(update={"actions": rest})),
        Answer("Done twice: right as written", written.model_copy(update={"sure": True})),
        Answer("Another hive: take it back", None),
    ]


def _corrections(written: Inspection, felt: float) -> list[Answer]:
    """Give the ways to put an inspection right that the scale does not agree with."""
    weighing, rest = _parts(written)
    answers = []
    if abs(felt) >= LEAST_KG and len(weighing) == 1:
        (one,) = weighing
        what = one.what if (felt > 0) == (one.what in ADDS) else OTHER_WAY.get(one.what, "other")
        kg = round(abs(felt), 1)
        right = tuple(Action(what=what, kg=kg) if done is one else done for done in written.actions)
        label = f"The scale is right: {'' if what == one.what else f'{what}, '}{kg:.1f} kg"
        answers.append(Answer(label, written.model_copy(update={"actions": right})))
    answers.append(Answer("It is right as written", written.model_copy(update={"sure": True})))
    answers.append(Answer("It was not done", written.model_copy(update={"actions": rest})))
    answers.append(Answer("Another hive: take it back", None))
    return answers
