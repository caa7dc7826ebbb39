"""Settling findings with what was told before: identities hold, whatever comes."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from hivewatch.detect.finding import MATCH_SLACK_S, Finding, settle

UNHURRIED = settings(deadline=None, max_examples=60)  # the machine may be busy
KINDS = ("handling", "toppled", "silent")
SUBJECTS = ("hive:hazel-1", "device:scale-1")


@st.composite
def a_finding(draw):
    start_s = draw(st.integers(0, 400)) * 600
    end_s = draw(st.none() | st.integers(0, 40).map(lambda steps: start_s + steps * 600))
    return Finding(
        draw(st.sampled_from(KINDS)),
        draw(st.sampled_from(SUBJECTS)),
        start_s,
        end_s,
        start_s + 600,
        0.9,
        status="open" if end_s is None else "ended",
    )


def key(finding):
    return finding.kind, finding.subject, finding.start_s


FOUND = st.lists(a_finding(), max_size=12, unique_by=key)


def ids(findings):
    return {one.id for one in findings}


@UNHURRIED
@given(FOUND)
def test_every_finding_told_for_the_first_time_gets_an_id_of_its_own(found):
    told = settle([], found)
    assert len(told) == len(found) == len(ids(told))
    assert "" not in ids(told)
    assert [replace(one, id="") for one in told] == sorted(
        found, key=lambda one: (one.start_s, one.kind, one.subject)
    )


@UNHURRIED
@given(FOUND, FOUND)
def test_settling_the_same_again_changes_nothing(before, found):
    once = settle(settle([], before), found)
    assert settle(once, found) == once


@UNHURRIED
@given(FOUND, FOUND)
def test_nothing_told_is_lost_and_nothing_found_is_left_out(before, found):
    told = settle([], before)
    now = settle(told, found)
    assert ids(told) <= ids(now)
    standing = [replace(one, id="") for one in now if one.status != "withdrawn"]
    assert Counter(map(key, standing)) == Counter(map(key, found))
    assert len(ids(now)) == len(now)


@UNHURRIED
@given(FOUND, FOUND)
def test_a_match_is_one_to_one_and_within_kind_and_subject(before, found):
    told = {one.id: one for one in settle([], before)}
    for one in settle(told.values(), found):
        if one.id in told:
            old = told[one.id]
            assert (one.kind, one.subject) == (old.kind, old.subject)


@UNHURRIED
@given(FOUND)
def test_what_is_found_no_more_is_withdrawn_and_comes_back_under_its_id(found):
    told = settle([], found)
    gone = settle(told, [])
    assert [one.status for one in gone] == ["withdrawn"] * len(told)
    assert ids(gone) == ids(told)
    assert settle(gone, found) == told


@UNHURRIED
@given(FOUND, st.integers(-MATCH_SLACK_S, MATCH_SLACK_S))
def test_a_start_that_late_data_move_a_little_keeps_its_id(found, moved_s):
    alone = [one for i, one in enumerate(found) if i == 0]
    told = settle([], alone)
    later = [
        replace(
            one,
            start_s=one.start_s + moved_s,
            end_s=None if one.end_s is None else max(one.end_s, one.start_s + moved_s),
        )
        for one in alone
    ]
    assert ids(settle(told, later)) == ids(told)


@UNHURRIED
@given(st.lists(FOUND, max_size=5), FOUND)
def test_ids_do_not_depend_on_the_order_of_what_is_given(history, found):
    told = []
    for one in history:
        told = settle(told, one)
    assert settle(told, found) == settle(reversed(told), reversed(found))


@UNHURRIED
@given(st.lists(FOUND, max_size=5), FOUND)
def test_an_event_found_at_every_look_has_one_id(history, found):
    steady = Finding("taken", "hive:hazel-9", 600, 1200, 900, 1.0, status="ended")
    told, seen = [], set()
    for looked in [*history, found]:
        told = settle(told, [*looked, steady])
        seen |= {one.id for one in told if one.kind == "taken"}
    assert len(seen) == 1


@UNHURRIED
@given(st.lists(FOUND, max_size=6))
def test_no_two_findings_ever_share_an_id(history):
    told = []
    for one in history:
        told = settle(told, one)
        assert len(ids(told)) == len(told)


def test_an_id_whose_finding_has_moved_is_not_given_again():
    first = Finding("handling", "hive:hazel-1", 6000, 6600, 7000, 0.9, status="ended")
    moved = replace(first, start_s=7200, end_s=7800)
    told = settle(settle([], [first]), [moved])
    now = settle(told, [moved, first])
    assert len(ids(now)) == 2
    assert {one.id: one.start_s for one in now}[told[0].id] == 7200


def test_what_was_withdrawn_while_it_lasted_does_not_take_a_later_event_for_itself():
    alarm = Finding("toppled", "hive:hazel-1", 6000, None, 6300, 0.8)
    later = replace(alarm, start_s=900_000, detected_s=900_300)
    told = settle(settle([], [alarm]), [])
    now = settle(told, [later])
    assert [one.status for one in now] == ["withdrawn", "open"]
    assert len(ids(now)) == 2


def test_a_lasting_finding_whose_start_late_data_move_far_keeps_its_id():
    silent = Finding("silent", "device:scale-1", 6000, None, 16_800, 1.0)
    shorter = replace(silent, start_s=80_000, detected_s=90_800)
    told = settle([], [silent])
    assert ids(settle(told, [shorter])) == ids(told)
