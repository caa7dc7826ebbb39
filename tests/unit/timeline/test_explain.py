"""Which visit accounts for which finding."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from visited import AT_S, DAY_S, HOUR_S, found, visit

from hivewatch.timeline.explain import RULES, explain
from hivewatch.timeline.stated import SAME_VISIT_S


def by(finding, *visits):
    """Name the visit that accounts for a finding."""
    one = explain([finding], visits)[0]
    assert (one.status == "explained") == (one.explained_by is not None)
    assert (one.id, one.kind, one.start_s, one.end_s) == (
        finding.id,
        finding.kind,
        finding.start_s,
        finding.end_s,
    )
    return one.explained_by


def test_a_visit_accounts_for_the_handling_of_its_hour():
    assert by(found(kg=6.2), visit(AT_S + 600, ("super added", 6.2))) == "v1"
    assert by(found(kg=6.2), visit(AT_S - SAME_VISIT_S)) == "v1"
    assert by(found(kg=6.2), visit(AT_S + 900 + SAME_VISIT_S)) == "v1"
    assert by(found(kg=6.2), visit(AT_S - SAME_VISIT_S - 1)) is None
    assert by(found(kg=6.2), visit(AT_S + 901 + SAME_VISIT_S)) is None


def test_it_says_what_was_written_down():
    one = explain([found(kg=6.2, evidence=("seen",))], [visit(AT_S, ("super added", 6.2), "fed")])
    assert one[0].evidence == ("seen", "written down: super added, 6.2 kg; fed")
    assert explain([found()], [visit()])[0].evidence == ("written down: a look",)


def test_of_several_who_wrote_one_visit_down_each_is_named():
    ada = visit(AT_S, ("super added", 6.2), name="ada", by="Ada")
    ben = visit(AT_S + 60, name="ben", by="Ben", queen="seen")
    later = visit(AT_S + 3 * HOUR_S, name="later", by="Cid")
    one = explain([found(kg=6.2)], [ben, later, ada])[0]
    assert one.explained_by == "ada"
    assert one.evidence == (
        "written down by Ada: super added, 6.2 kg",
        "also written down by Ben: a look",
    )


def test_who_says_what_the_scale_felt_accounts_for_it_before_who_was_nearer():
    look, weighed = visit(AT_S, name="look"), visit(AT_S + 3000, ("super added", 6.2), name="kg")
    unweighed = visit(AT_S + 1000, "super added", name="way")
    wrong = visit(AT_S + 10, ("super added", 15.0), name="wrong")
    assert by(found(kg=6.2), look, weighed, unweighed, wrong) == "kg"
    assert by(found(kg=6.2), look, unweighed, wrong) == "way"
    assert by(found(kg=-6.2), look, unweighed) == "look"
    assert by(found(kg=0.1), look, weighed, unweighed) == "look"  # nothing to go by but the time


def test_an_evening_entry_accounts_for_the_step_of_its_own_kg():
    evening_s = AT_S + 7 * HOUR_S
    assert by(found(kg=6.2), visit(evening_s, ("super added", 6.0))) == "v1"
    assert by(found(kg=6.2), visit(evening_s, ("super added", 9.0))) is None
    assert by(found(kg=-6.2), visit(evening_s, ("super added", 6.2))) is None
    assert by(found(kg=6.2), visit(evening_s, "super added")) is None
    assert by(found(kg=6.2), visit(AT_S + DAY_S, ("super added", 6.2))) is None


def test_the_nearest_visit_accounts_for_it():
    near, far = visit(AT_S - 600, name="near"), visit(AT_S - 3000, name="far")
    assert by(found(), near, far) == by(found(), far, near) == "near"
    same = visit(AT_S, name="a"), visit(AT_S, name="b")
    assert by(found(), *same) == by(found(), *reversed(same)) == "a"


def test_a_visit_to_another_hive_accounts_for_nothing():
    assert by(found(), visit(hive="hazel-2")) is None


def test_a_split_accounts_for_a_loss_as_of_a_swarm_and_a_look_does_not():
    loss = found("swarm", kg=1.9)
    assert by(loss, visit(AT_S, "split")) == "v1"
    assert by(loss, visit(AT_S, ("split", 2.0))) == "v1"
    assert by(loss, visit(AT_S, ("split", 4.5))) is None  # the scale lost something else
    assert by(loss, visit(AT_S)) is None
    assert by(loss, visit(AT_S, "super added")) is None
    assert by(loss, visit(AT_S + 3 * HOUR_S, "split")) is None


@pytest.mark.parametrize("kind", ["toppled", "taken"])
def test_a_look_does_not_hush_a_hive_that_lies_beside_its_scale(kind):
    lies = found(kind, lasts_s=None, kg=-30.0)
    assert by(lies, visit(AT_S - 600), visit(AT_S + 600), visit(AT_S, "harvested")) is None
    assert by(lies, visit(AT_S - 600, "moved")) == "v1"
    assert by(lies, visit(AT_S - 10 * HOUR_S, "moved")) is None


def test_a_hive_that_was_set_up_again_is_accounted_for_by_who_did_it():
    fell = found("toppled", end_s=AT_S + 9 * HOUR_S)
    assert by(fell, visit(AT_S + 9 * HOUR_S + 1200)) == "v1"
    assert by(fell, visit(AT_S + 4 * HOUR_S)) is None
    assert by(fell, visit(AT_S - 600)) is None
    assert by(found("toppled", lasts_s=1200), visit(AT_S - 600)) is None  # he was there before


def test_a_device_that_was_off_for_a_visit_is_accounted_for():
    gap = found("silent", lasts_s=4 * HOUR_S, subject="device:scale-1")
    assert by(gap, visit(AT_S)) == "v1"
    assert by(gap, visit(AT_S + 4 * HOUR_S)) == "v1"
    assert by(gap, visit(AT_S + 2 * HOUR_S)) is None
    assert by(found("silent", lasts_s=None, subject="device:scale-1"), visit(AT_S)) is None
    long = found("silent", lasts_s=2 * DAY_S, subject="device:scale-1")
    assert by(long, visit(AT_S)) is None
    assert by(long, visit(AT_S + 2 * DAY_S)) == "v1"  # brought back


def test_a_nest_that_cooled_while_it_was_open_is_accounted_for():
    assert by(found("chilled_brood", lasts_s=2 * HOUR_S), visit(AT_S)) == "v1"
    assert by(found("chilled_brood", lasts_s=9 * HOUR_S), visit(AT_S)) is None
    assert by(found("chilled_brood", lasts_s=None), visit(AT_S)) is None


@pytest.mark.parametrize("kind", ["robbing", "low_stores", "dead_out", "dearth"])
def test_what_no_visit_causes_stays_as_it_is(kind):
    one = found(kind, lasts_s=None)
    assert kind not in RULES
    assert explain([one], [visit(AT_S, "moved", "fed", "split")]) == [one]


def test_what_was_withdrawn_stays_withdrawn():
    assert explain([found(status="withdrawn")], [visit()])[0].status == "withdrawn"


moments = st.integers(AT_S - 2 * DAY_S, AT_S + 2 * DAY_S)
lives = st.lists(
    st.builds(
        found,
        st.sampled_from(sorted(RULES)),
        moments,
        kg=st.none() | st.floats(-30, 30),
        lasts_s=st.none() | st.integers(0, DAY_S),
    ),
    max_size=6,
)
visits = st.lists(
    st.tuples(moments, st.sampled_from(["super added", "split", "moved", "fed", None])), max_size=6
).map(
    lambda drawn: [
        visit(at_s, *([(what, 6.0)] if what else []), name=f"v{i}")
        for i, (at_s, what) in enumerate(drawn)
    ]
)


@given(findings=lives, noted=visits, data=st.data())
def test_neither_order_matters(findings, noted, data):
    ordered = {(one.id, i): one for i, one in enumerate(explain(findings, noted))}
    places = data.draw(st.permutations(range(len(findings))))
    shuffled = explain([findings[i] for i in places], data.draw(st.permutations(noted)))
    assert [ordered[findings[i].id, i] for i in places] == shuffled


@given(findings=lives, noted=visits)
def test_a_visit_more_never_takes_an_explanation_away(findings, noted):
    before, after = explain(findings, noted[:-1]), explain(findings, noted)
    for old, new in zip(before, after, strict=True):
        assert new.status == "explained" or old.status != "explained"


def test_a_colony_given_away_accounts_for_all_that_is_told_of_its_hive_from_then_on():
    given_s = AT_S + DAY_S
    gone = visit(given_s, "given away", name="gone", by="Ada")
    lasting = found("low_stores", AT_S, lasts_s=None)
    later = [found(kind, given_s + 60, lasts_s=None) for kind in ("taken", "silent")]
    over = found("robbing", AT_S, AT_S + HOUR_S)
    assert [by(one, gone) for one in (lasting, *later, over)] == ["gone", "gone", "gone", None]
    assert explain([lasting], [gone])[0].evidence[-1] == "written down by Ada: given away"


def test_a_visit_after_that_says_that_there_is_a_colony_again():
    gone = visit(AT_S, "given away", name="gone")
    again = visit(AT_S + 20 * DAY_S, name="again", queen="seen")
    nobody = visit(AT_S + 10 * DAY_S, name="nobody", opened=False)
    between = found("dead_out", AT_S + 5 * DAY_S, AT_S + 20 * DAY_S)
    new = found("low_stores", AT_S + 30 * DAY_S, lasts_s=None)
    assert by(between, gone, again) == "gone"
    assert by(new, gone, again) is None
    assert by(new, gone, nobody) == "gone"
