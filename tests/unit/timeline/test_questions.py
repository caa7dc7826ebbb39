"""What the keeper is asked."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from visited import AT_S, HOUR_S, found, visit

from hivewatch.timeline.explain import explain
from hivewatch.timeline.questions import ASK_FROM, questions

LONDON = ZoneInfo("Europe/London")


def ask(findings, visits=(), weighed=None):
    names = [one.id for one in visits] if weighed is None else weighed
    return questions(explain(findings, visits), visits, LONDON, names)


def test_a_handling_nobody_wrote_down_is_asked_about():
    one = ask([found(kg=6.2)])[0]
    assert one.text == "Opened on Tuesday 12 May at 14:10, 6.2 kg heavier: a super?"
    assert (one.about, one.hive, one.at_s) == ("unwritten", "hazel-1", AT_S)
    assert one.finding == f"handling-{AT_S}"
    assert one.yes.actions[0].what == "super added"
    assert one.yes.actions[0].kg == 6.2


def test_a_yes_is_the_answer():
    for kg in (6.2, 1.5, -1.5, -6.0, -18.0, 31.0, 0.0):
        told = found(kg=kg)
        yes = ask([told])[0].yes
        answered = explain([told], [visit()._replace(id="new", inspection=yes)])
        assert answered[0].explained_by == "new"
        assert ask([told], [visit()._replace(id="new", inspection=yes)]) == []


def test_two_taps_are_one_inspection():
    first, second = ask([found(kg=6.2)]), ask([found(kg=6.2)])
    assert first == second
    assert first[0].yes.key == first[0].id
    assert ask([found(kg=6.2, id="other")])[0].id != first[0].id


@pytest.mark.parametrize(
    ("kg", "guess"),
    [
        (31.0, "the hive moved?"),
        (6.2, "a super?"),
        (1.5, "fed?"),
        (0.3, "a look?"),
        (None, "a look?"),
        (-1.5, "something taken out?"),
        (-6.0, "a super taken off?"),
        (-18.0, "honey taken?"),
        (-31.0, "the hive moved?"),
    ],
)
def test_the_guess_goes_by_the_weight(kg, guess):
    assert ask([found(kg=kg)])[0].text.endswith(guess)


def test_what_is_unlikely_withdrawn_or_no_handling_is_not_asked():
    assert ask([found(kg=6.2, confidence=0.4), found(kg=6.2, status="withdrawn")]) == []
    assert ask([found("swarm", kg=2.0), found("toppled", lasts_s=None)]) == []


def test_a_super_that_the_scale_never_felt_is_asked_about():
    one = ask([], [visit(AT_S, ("super added", 6.2))])[0]
    assert one.about == "unfelt"
    assert one.text == (
        "Super added, 6.2 kg on Tuesday 12 May at 14:10, but the scale never felt it: was it this"
        " hive, and that hour?"
    )
    assert (one.inspection, one.finding, one.yes) == ("v1", None, None)
    assert ask([], [visit(AT_S, "super added")])[0].about == "unfelt"


def test_where_no_scale_reported_nothing_can_be_unfelt():
    assert ask([], [visit(AT_S, ("super added", 6.2))], weighed=[]) == []


def test_another_weight_than_was_noted_is_asked_about():
    one = ask([found(kg=12.4)], [visit(AT_S, ("super added", 6.2))])[0]
    assert one.about == "differs"
    assert one.text.endswith("but the scale says 12.4 kg heavier: which is right?")
    assert ask([found(kg=6.9)], [visit(AT_S, ("super added", 6.2))]) == []


def test_the_parts_of_a_visit_are_added_up():
    parts = [found(kg=6.0), found(start_s=AT_S + 2000, kg=-18.0)]
    assert ask(parts, [visit(AT_S, ("super added", 6.2), ("harvested", 18.5))]) == []
    assert ask(parts, [visit(AT_S, ("super added", 6.2))])[0].about == "differs"
    assert ask(parts, [visit(AT_S, ("super added", 6.2), "harvested")]) == []  # no net is stated


def test_a_hive_off_its_scale_weighs_nothing():
    moved = found("taken", kg=-35.0, lasts_s=None)
    assert ask([moved], [visit(AT_S, "moved", ("super added", 6.2))]) == []


def test_questions_come_by_time():
    late, early = found(kg=6.2), found(start_s=AT_S - HOUR_S, kg=1.2)
    assert [one.at_s for one in ask([late, early])] == [AT_S - HOUR_S, AT_S]
    assert ask([replace(late, subject="hive:hazel-2")])[0].hive == "hazel-2"


@pytest.mark.parametrize(
    ("kg", "labels"),
    [
        (6.2, ["Yes: a super", "Fed", "United", "Something else, 6.2 kg", "Only a look"]),
        (1.5, ["Yes: fed", "Super added", "United", "Something else, 1.5 kg", "Only a look"]),
        (-1.5, ["Yes: something taken out", "Super removed", "Harvested", "Split", "Only a look"]),
        (-6.0, ["Yes: a super taken off", "Harvested", "Split", "Something else, 6.0 kg"]),
        (31.0, ["Yes: the hive moved", "Super added", "Fed", "United", "Something else, 31.0 kg"]),
        (0.0, ["Yes: a look", "Treated", "Requeened"]),
    ],
)
def test_whatever_it_was_one_tap_says_it(kg, labels):
    one = ask([found(kg=kg)])[0]
    given = [answer.label for answer in one.answers]
    assert given[: len(labels)] == labels
    assert given[-1] == "Nobody opened it"
    assert len(set(given)) == len(given)
    assert {answer.says.key for answer in one.answers} == {one.id}


def test_who_says_that_nobody_opened_it_is_believed_and_asked_no_more():
    told = found(kg=6.2, evidence=("seen",))
    nobody = ask([told])[0].answers[-1].says
    assert not nobody.opened
    for by, words in (
        ("Ada", "nobody opened it, says Ada"),
        (None, "written down: nobody opened it"),
    ):
        said = visit()._replace(id="new", inspection=nobody.model_copy(update={"by": by}))
        one = explain([told], [said])[0]
        assert (one.status, one.explained_by) == ("ended", None)
        assert one.evidence == ("seen", words)
        assert one.confidence < ASK_FROM < told.confidence
        assert one.measures == told.measures
        assert ask([told], [said]) == []
    later = found(kg=6.2, start_s=AT_S + 3 * HOUR_S)
    other = found(kg=6.2, subject="hive:hazel-2")
    assert len(ask([later, other], [visit()._replace(id="new", inspection=nobody)])) == 2


def test_a_visit_weighs_more_than_the_word_that_there_was_none():
    nobody = ask([found(kg=6.2)])[0].answers[-1].says
    both = [visit()._replace(id="new", inspection=nobody), visit(AT_S, ("super added", 6.2))]
    for order in (both, both[::-1]):
        one = explain([found(kg=6.2)], order)[0]
        assert (one.status, one.explained_by, one.confidence) == ("explained", "v1", 0.95)
    swarm, fallen = found("swarm", kg=2.0), found("toppled", lasts_s=None)
    assert explain([swarm, fallen], both[:1]) == [swarm, fallen]


def test_where_the_scale_felt_the_other_way_the_other_way_is_an_answer():
    one = ask([found(kg=-12.4)], [visit(AT_S, ("super added", 12.0))])[0]
    assert one.about == "differs"
    right = one.answers[0]
    assert right.label == "The scale is right: super removed, 12.4 kg"
    assert [(done.what, done.kg) for done in right.says.actions] == [("super removed", 12.4)]
    fed = ask([found(kg=-5.0)], [visit(AT_S, ("fed", 5.0))])[0]
    assert fed.answers[0].label == "The scale is right: other, 5.0 kg"


def test_a_visit_that_two_wrote_down_is_asked_about_as_one():
    ada = visit(AT_S, ("super added", 6.2), name="ada", by="Ada")
    ben = visit(AT_S + 900, ("super added", 6.0), name="ben", by="Ben", queen="seen")
    (one,) = ask([found(kg=6.2)], [ada, ben])
    assert (one.about, one.inspection) == ("twice", "ben")
    assert one.text == (
        "Super added, 6.0 kg on Tuesday 12 May at 14:25 is written down by Ada and by Ben: the"
        " scale felt it once. One and the same?"
    )
    assert [answer.label for answer in one.answers] == [
        "The same: count it once",
        "Done twice: right as written",
        "Another hive: take it back",
    ]
    once = one.answers[0].says
    assert (once.actions, once.queen, once.by) == ((), "seen", "Ben")
    for answer in one.answers:
        said = [] if answer.says is None else [ben._replace(inspection=answer.says)]
        assert ask([found(kg=6.2)], [ada, *said]) == []


def test_two_who_wrote_down_a_part_each_are_not_asked():
    ada = visit(AT_S, ("super added", 6.2), name="ada", by="Ada")
    ben = visit(AT_S + 900, ("fed", 5.0), name="ben", by="Ben")
    assert ask([found(kg=11.2)], [ada, ben]) == []
    assert {one.about for one in ask([found(kg=6.2)], [ada, ben])} == {"unfelt"}
    assert ask([found(kg=6.2)], [visit(AT_S, name="look", by="Ben"), ada]) == []


def test_the_same_box_noted_hours_apart_is_no_visit_told_twice():
    ada = visit(AT_S, ("super added", 6.2), name="ada")
    ben = visit(AT_S + 3 * HOUR_S, ("super added", 6.2), name="ben")
    assert [one.about for one in ask([found(kg=6.2)], [ada, ben])] == ["unfelt"]


def test_a_hive_gone_from_its_scale_is_asked_about_and_either_answer_accounts_for_it():
    gone = found("taken", lasts_s=None)
    (one,) = ask([gone])
    assert one.text == "Gone from its scale on Tuesday 12 May at 14:10: did one of you take it?"
    assert [said.label for said in one.answers] == ["Given away or sold", "Moved elsewhere"]
    for said in one.answers:
        written = visit()._replace(id="new", inspection=said.says)
        assert explain([gone], [written])[0].explained_by == "new"
        assert ask([gone], [written]) == []
    assert ask([found("taken")]) == []  # it stands again
