"""The page of a hive in a real browser: what stands first, what is folded, what the curves show."""

from __future__ import annotations

import pytest
from served import DAY_S, NOW_S

from hivewatch.detect.finding import Finding

PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_what_every_hive_does_is_folded_and_told_by_the_week(here, visit, viewport):
    flights = [
        Finding(
            "orientation_flight",
            "hive:hazel-1",
            at_s,
            at_s + 1800,
            at_s + 1800,
            0.9,
            status="ended",
        )
        for at_s in range(NOW_S - 9 * DAY_S, NOW_S - DAY_S, DAY_S)
    ]
    here.tell(*flights)
    page = visit(f"{here.url}/#/hive/hazel-1", viewport)
    folded = page.locator("details.everyday")
    folded.wait_for()
    assert "8 times since the week of Mon 27 Apr" in folded.locator("summary").inner_text()
    weeks = folded.locator("li")
    assert not weeks.first.is_visible()
    folded.locator("summary").click()
    assert weeks.count() == 2  # from Saturday 2 May: the weeks of 27 April and of 4 May
    assert weeks.nth(1).inner_text().startswith("Week of Mon 27 Apr, 2 times: Sun 3 May, 10:00 to")
    page.wait_for_timeout(2000)
    here.write_down(hive="hazel-1", at="2026-05-10T10:00:00Z", note="just now")
    page.get_by_text("just now").wait_for()
    assert weeks.first.is_visible()  # what is open stays open
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]


def test_a_hive_says_first_what_wants_a_look_and_what_to_do(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1", PHONE)
    wanting = page.locator("[data-part=now] li")
    wanting.first.wait_for()
    assert wanting.count() == 1  # the handling that is over wants nothing
    told = " ".join(wanting.inner_text().split())
    assert told.startswith("Toppled since 09:00 today now Go as soon as it is safe")
    above = wanting.bounding_box()["y"] + wanting.bounding_box()["height"]
    assert above < page.locator("[data-part=figures]").bounding_box()["y"] < PHONE["height"]


def test_what_was_over_long_ago_stands_on_one_line_and_opens(here, visit):
    at_s = NOW_S - 9 * DAY_S
    said = Finding(
        "handling", "hive:hazel-1", at_s, at_s + 900, at_s + 900, 0.9, {"kg": 5.1},
        ("weight rose by 5.1 kg and stayed",), status="ended",
    )  # fmt: skip
    here.tell(said)
    page = visit(f"{here.url}/#/hive/hazel-1")
    old = page.locator("[data-part=findings] details.settled")
    old.wait_for()
    assert " ".join(old.inner_text().split()) == "Handled Sat 2 May, 10:00 to 10:15; over"
    assert not page.get_by_text("weight rose by 5.1 kg").is_visible()
    old.locator("summary").click()
    assert page.get_by_text("weight rose by 5.1 kg").is_visible()
    page.emulate_media(media="print")
    assert old.locator("summary").is_visible()


def lines_drawn(page):
    """Count the points of the first canvas that have the colour of its line."""
    return page.evaluate(
        """(() => { const one = document.querySelector("canvas");
            const rgb = getComputedStyle(document.documentElement).getPropertyValue("--line-1");
            const [r, g, b] = [1, 3, 5].map((at) => parseInt(rgb.trim().slice(at, at + 2), 16));
            const { data } = one.getContext("2d").getImageData(0, 0, one.width, one.height);
            let count = 0;
            for (let i = 0; i < data.length; i += 4) {
              if (data[i] === r && data[i + 1] === g && data[i + 2] === b) count += 1;
            }
            return count; })()"""
    )


def test_a_finding_is_shown_on_the_curves(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1")
    page.wait_for_selector("canvas")
    handled = page.get_by_role("listitem").filter(has_text="Handled")
    with page.expect_response(lambda answer: "quantity=weight" in answer.url) as asked:
        handled.get_by_role("button", name="Show on the curves").click()
    told = asked.value.json()
    assert (told["from"], told["to"]) == ("2026-05-06T09:00:00Z", "2026-05-08T09:15:00Z")
    page.wait_for_timeout(500)
    assert page.locator(".spans input:checked").count() == 0
    assert lines_drawn(page) > 100  # readings that are rarer than the step are a line all the same
    page.get_by_text("7 days", exact=True).click()
    page.wait_for_timeout(500)
    assert page.get_by_role("radio", name="7 days").is_checked()


def test_what_is_further_back_comes_when_it_is_asked_for(here, visit):
    for n in range(60):
        here.write_down(hive="hazel-1", at="2026-05-06T10:00:00Z", note=f"no. {n}")
    page = visit(f"{here.url}/#/hive/hazel-1")
    listed = page.locator("[data-part=inspections] li")
    listed.first.wait_for()
    assert listed.count() == 40
    page.get_by_role("button", name="Earlier").click()
    listed.nth(60).wait_for()
    assert listed.count() == 61
    assert page.get_by_role("button", name="Earlier").count() == 0
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Print").is_visible()
    assert not page.get_by_role("button", name="Show on the curves").first.is_visible()
    assert page.locator("[data-part=findings]").is_visible()


def test_it_says_first_which_date_of_the_queen_presses_and_how_long_it_stays_closed(here, visit):
    here.write_down(hive="hazel-2", at="2026-05-02T12:00:00+01:00", queen="virgin")
    page = visit(f"{here.url}/#/hive/hazel-2")
    page.wait_for_selector("[data-part=now] li")
    said = " ".join(page.locator("[data-part=now]").inner_text().split())
    assert "Leave it closed until" in said
    assert "a virgin queen on 2 May" in said
    assert "Look for eggs of the queen" in said


def test_a_moment_off_the_scale_presses_no_week_of_weights_flat(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1")
    span = "([line, ...how]) => import('/chart.js').then((it) => it.roomy([line], ...how))"
    week = [50 + n / 100 for n in range(670)]
    lifted = [*week[:300], 20, 20, *week[300:]]
    low, high = page.evaluate(span, [lifted, False, False])
    assert 45 < low < 50 < week[-1] < high < 62
    assert page.evaluate(span, [lifted, False, True])[0] < 20  # where it is asked for
    assert page.evaluate(span, [[*week, 20], False, False])[0] < 20  # it lies there now
    assert page.evaluate(span, [[*week, 9000], True, False]) == [0, 9000 * 1.08]  # a rush of bees


def test_no_figure_of_a_table_is_broken_in_two(here, visit):
    here.write_down(
        hive="hazel-1",
        at="2026-05-10T10:05:00+01:00",
        brood={"eggs": 3900, "open": 7600, "capped": 15100},
        adults=31000,
    )
    page = visit(f"{here.url}/#/hive/hazel-1", PHONE)
    page.get_by_text("The same as a table").first.click()
    cells = page.locator(".ahead td:visible")
    cells.first.wait_for()
    assert {one["height"] < 50 for one in (cells.nth(n).bounding_box() for n in range(9))} == {True}


def test_paper_has_the_whole_of_a_curve(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1", DESK)
    page.wait_for_selector("canvas")
    page.emulate_media(media="print")
    stage = page.locator(".stage").first
    stage.locator(".u-wrap").evaluate("(one) => { one.style.width = '2000px'; }")  # of the screen
    paper, curve = stage.bounding_box(), stage.locator("canvas").bounding_box()
    assert curve["width"] == paper["width"]
