"""The form that a visit is written down in."""

from __future__ import annotations

from typing import get_args

import pytest
from playwright.sync_api import expect
from served import NOW_S

from hivewatch.inspections import Change, fields
from hivewatch.store import inspections

PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}


@pytest.fixture
def form(here, visit):
    def opened(hive="hazel-1", viewport=PHONE):
        page = visit(f"{here.url}/#/hive/{hive}", viewport)
        page.get_by_text("Write down a visit").click()
        expect(page.locator(".visit [name=at]")).not_to_have_value("")
        return page

    return opened


def written(here, hive="hazel-1"):
    with here.store.read() as connection:
        return [one.inspection for one in inspections.read(connection, hive=hive)]


def wait_until_written(page, here, count, hive="hazel-1"):
    """Wait for a visit whose "Written down." may be that of the one before."""
    until_s = page.evaluate("Date.now()") + 5000
    while len(written(here, hive)) < count and page.evaluate("Date.now()") < until_s:
        page.wait_for_timeout(50)
    assert len(written(here, hive)) == count


def press(page, said):
    page.locator(".visit button[type=submit]").click()
    page.locator(".visit [role=status]").get_by_text(said).wait_for()


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_what_is_filled_in_is_written_down_and_shown(here, form, viewport):
    before = len(written(here))
    page = form(viewport=viewport)
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
    page.fill(".visit [name=eggs]", "0")
    page.fill(".visit [name=capped]", "9100")
    page.select_option(".visit [name=queen]", "not seen")
    page.fill(".visit [name=cells]", "3")
    page.select_option(".visit [name=stage]", "capped")
    page.select_option(".visit [name=what2]", "super added")
    page.fill(".visit [name=kg2]", "6.2")
    page.fill(".visit [name=note]", "quick to sting")
    page.fill(".visit .who input", "Ada")
    press(page, "Written down.")
    *_, one = written(here)
    assert len(written(here)) == before + 1
    assert (one.at_s, one.by, one.note) == (NOW_S, "Ada", "quick to sting")
    assert (one.brood.eggs, one.brood.open, one.brood.capped) == (0, None, 9100)
    assert (one.queen, one.queen_cells.count, one.queen_cells.stage) == ("not seen", 3, "capped")
    assert [(done.what, done.kg) for done in one.actions] == [("super added", 6.2)]
    assert (one.adults, one.stores_kg, one.frames) == (None, None, ())
    page.locator("[data-part=inspections]").get_by_text("quick to sting").wait_for()
    assert page.input_value(".visit [name=note]") == ""


def test_its_time_is_that_of_the_hive(here, form):
    page = form("quarry-1")
    assert page.input_value(".visit [name=at]") == "2026-05-11T05:00"  # 09:00 UTC, in Toronto
    page.fill(".visit [name=at]", "2026-03-08T01:59")  # the clocks were set forward at 02:00
    press(page, "Written down.")
    page.fill(".visit [name=at]", "2026-03-08T03:01")
    press(page, "Written down.")
    wait_until_written(page, here, 2, "quarry-1")
    first, second = written(here, "quarry-1")
    assert second.at_s - first.at_s == 120


def test_what_is_wrong_is_said_and_what_was_typed_stays(here, form, visit):
    visit.expect("422")
    before = written(here)
    page = form()
    page.fill(".visit [name=eggs]", "99000")
    press(page, "Not written down: brood.eggs: out of range; use a whole number from 0 to 20000")
    assert page.input_value(".visit [name=eggs]") == "99000"
    assert written(here) == before


def test_kilograms_of_nothing_are_not_left_out_unseen(here, form):
    before = len(written(here))
    page = form()
    page.fill(".visit [name=kg1]", "6.2")
    page.locator(".visit button[type=submit]").click()
    assert page.evaluate("document.activeElement.name") == "what1"  # the browser asks for it
    assert len(written(here)) == before
    page.select_option(".visit [name=what1]", "super added")
    press(page, "Written down.")
    assert [(one.what, one.kg) for one in written(here)[-1].actions] == [("super added", 6.2)]
    page.fill(".visit [name=note]", "calm")
    press(page, "Written down.")  # nothing is asked for any more
    wait_until_written(page, here, before + 2)


def test_it_offers_the_words_that_an_inspection_knows(form):
    page = form()
    for name, known in (
        ("queen", fields.Queen),
        ("stage", fields.CellStage),
        ("what1", fields.What),
    ):
        offered = page.locator(f".visit [name={name}] option").all_inner_texts()
        assert tuple(offered[1:]) == get_args(get_args(known)[0])


def test_a_visit_is_put_right_and_keeps_what_the_form_has_no_field_for(here, form):
    sides = [{"frame": 3, "side": "a", "capped": 0.5}]
    done = [{"what": "fed", "kg": 2.55}, {"what": "treated"}, {"what": "other"}]
    here.write_down(
        hive="hazel-2",
        at="2026-05-09T10:00:07Z",
        by="Ben",
        frames=sides,
        actions=done,
        queen="seen",
    )
    page = form("hazel-2")
    page.get_by_role("button", name="Correct", exact=False).click()
    page.get_by_text("Correct the visit of Sat 9 May, 11:00").wait_for()
    assert page.input_value(".visit [name=kg1]") == "2.55"
    page.fill(".visit [name=adults]", "21000")
    page.select_option(".visit [name=what2]", "")
    page.fill(".visit .who input", "Ada")
    press(page, "Corrected.")
    (one,) = written(here, "hazel-2")
    assert (one.at.second, one.by, one.adults, one.queen) == (7, "Ben", 21000, "seen")
    assert [side.capped for side in one.frames] == [0.5]
    assert [(did.what, did.kg) for did in one.actions] == [("fed", 2.55), ("other", None)]
    page.get_by_text("corrected").wait_for()
    page.get_by_text("Of 1 side of comb: 0.5 capped. 21,000 bees. Queen: seen.").wait_for()
    page.get_by_role("button", name="Correct", exact=False).click()
    page.get_by_role("button", name="Take it back").click()
    page.get_by_text("Taken back.").wait_for()
    assert written(here, "hazel-2") == []
    page.get_by_text("withdrawn: it counts for nothing").wait_for()
    assert page.get_by_role("button", name="Correct", exact=False).count() == 0


def test_of_two_who_put_one_visit_right_the_second_is_told(here, form, visit):
    visit.expect("412")
    number = here.write_down(hive="hazel-2", at="2026-05-09T10:00:00Z", queen="seen")
    page = form("hazel-2")
    page.get_by_role("button", name="Correct", exact=False).click()
    with here.store.write() as connection:
        stored = inspections.by_id(connection, number)
        other = stored.inspection.model_copy(update={"queen": "absent"})
        inspections.correct(connection, stored, other, NOW_S, Change())
    page.fill(".visit [name=note]", "calm")
    press(page, "Not written down: somebody has changed it since; look again.")
    page.get_by_role("button", name="Leave it as it is").click()
    assert page.input_value(".visit [name=note]") == ""
    page.get_by_text("Write down a visit").wait_for()
    (one,) = written(here, "hazel-2")
    assert (one.queen, one.note) == ("absent", "")
