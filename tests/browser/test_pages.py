"""The pages in a real browser."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from served import DAY_S, NOW_S, START_S

from hivewatch.detect.finding import Finding

PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}
POLLED_MS = 12_000  # three of the page's own rounds


def the_text(page, where="main"):
    return " ".join(page.locator(where).inner_text().split())


def test_the_yards_say_who_wants_a_look(here, visit):
    page = visit(here.url)
    assert page.locator("h1").inner_text() == "1 of 3 hives wants a look."
    assert page.locator("ol.first li").all_inner_texts() == [
        "hazel-1 Toppled, since 09:00 today. now"
    ]
    assert page.locator("section h2").all_inner_texts() == ["Hazel End", "Old quarry"]
    first = page.get_by_role("row", name="hazel-1")
    weight = here.season["weight"][1]
    assert f"{weight[-1]:.1f}" in first.inner_text()
    assert f"+{weight[-1] - weight[-1 - 144]:.1f}" in first.inner_text()
    assert "Toppled since 09:00 today" in " ".join(first.inner_text().split())
    assert "nothing" not in first.inner_text()
    assert "no device" in page.get_by_role("row", name="quarry-1").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize(
    "address", ["", "#/hive/hazel-1", "#/alerts"], ids=["yards", "hive", "alerts"]
)
def test_every_page_fits(here, visit, tmp_path, address, viewport, scheme):
    page = visit(f"{here.url}/{address}", viewport, color_scheme=scheme)
    page.wait_for_timeout(300)
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
    picture = page.screenshot(path=tmp_path / "page.png", full_page=True)
    assert len(picture) > 10_000  # something is drawn
    dark = page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(19, 24, 23)"
    assert dark == (scheme == "dark")


def test_a_hive_shows_its_days(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1")
    page.wait_for_selector("canvas")
    assert page.locator("canvas").count() == 3
    for colours in page.evaluate(
        """[...document.querySelectorAll("canvas")].map((one) => new Set(new Uint32Array(
            one.getContext("2d").getImageData(0, 0, one.width, one.height).data.buffer)).size)"""
    ):
        assert colours > 20  # axes, lines and marks, not an empty sheet
    label = page.locator(".stage").first.get_attribute("aria-label")
    assert label.startswith("Weight: Weight between")
    found = the_text(page, "[data-part=findings]")
    assert "Toppled now since 09:00 today; open, almost certain (98 %)" in found.replace(
        "\u202f", " "
    )
    assert "weight fell at once from 39.1 kg to 8.9 kg" in found
    seen = the_text(page, "[data-part=inspections]")
    assert "Thu 7 May, 10:05 by Ada" in seen
    assert "Super added, 6.2" in seen
    assert "<b>calm</b> & light" in seen  # what people write is text, never markup
    assert "scale-1" in the_text(page, "[data-part=devices]")


def test_the_table_holds_what_the_chart_shows(here, visit):
    """By local day of the yard, against numpy over what was stored."""
    page = visit(f"{here.url}/#/hive/hazel-1")
    page.wait_for_selector("canvas")
    page.get_by_text("The same by day, as a table").first.click()
    rows = page.locator("figure").first.locator("tbody tr")
    assert rows.first.locator("th").inner_text() == "today"
    time_s, weight = here.season["weight"]
    for nth, day in ((0, 10), (1, 9), (3, 7)):
        local = (time_s + 3600 - START_S) // 86_400  # British summer time
        of = weight[local == day]
        cells = rows.nth(nth).locator("td").all_inner_texts()
        assert cells == [f"{one:.1f}" for one in (of.min(), of.mean(), of.max())]


def test_the_span_is_chosen_by_keyboard(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1")
    page.wait_for_selector("canvas")
    page.get_by_role("radio", name="7 days").focus()
    with page.expect_response(lambda answer: "quantity=weight" in answer.url) as asked:
        page.keyboard.press("ArrowRight")
    assert asked.value.json()["from"] == "2026-04-11T09:00:00Z"
    with page.expect_response(lambda answer: "quantity=weight" in answer.url) as asked:
        page.keyboard.press("ArrowRight")
    assert asked.value.json()["from"] == "2026-05-01T00:00:00Z"  # its first device came then


def test_the_chart_is_read_by_keyboard(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1")
    page.wait_for_selector("canvas")
    page.locator(".stage").first.focus()
    page.keyboard.press("ArrowLeft")
    last = page.locator(".readout").first.inner_text()
    page.keyboard.press("ArrowLeft")
    assert last.startswith("Mon 11 May, 09:45: Weight")
    assert page.locator(".readout").first.inner_text().startswith("Mon 11 May, 09:30: Weight")


def test_times_are_those_of_the_yard(here, visit):
    here.tell(
        Finding("taken", "hive:quarry-1", NOW_S - 3600, None, NOW_S - 1800, 0.9),
        hive="quarry-1",
        yard="quarry",
    )
    page = visit(f"{here.url}/#/hive/quarry-1")
    assert "since 04:00 today" in the_text(page, "[data-part=findings]")
    assert page.locator("#clock").inner_text() == "Mon 11 May, 05:00 GMT-4"


def test_a_page_brings_itself_up_to_date(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1")
    page.wait_for_selector("canvas")
    advice = page.locator("[data-part=findings] details").first
    advice.locator("summary").click()
    advice.locator("summary").focus()
    page.evaluate("document.querySelector('canvas').dataset.same = 'yes'")
    here.clock.at_s += 600
    here.store_series("scale-1", "weight", np.array([NOW_S + 540]), np.array([55.55]))
    here.tell(Finding("low_battery", "device:scale-1", NOW_S, None, NOW_S, 0.9))
    page.wait_for_selector("text=scale-1: battery low", timeout=POLLED_MS)
    assert "55.5" in the_text(page, "[data-part=figures]") or "55.6" in the_text(
        page, "[data-part=figures]"
    )
    assert page.locator("[data-part=findings] details[open]").count() == 1
    assert page.evaluate("document.querySelector('canvas').dataset.same") == "yes"


def test_an_alert_is_acknowledged(here, visit):
    page = visit(f"{here.url}/#/alerts")
    assert page.locator("h1").inner_text() == "1 alert not acknowledged yet."
    page.get_by_text("The message, and every decision").click()
    page.wait_for_selector(".decisions li")
    assert "Do: Go as soon as it is safe" in the_text(page)
    page.get_by_role("button", name="Acknowledge").click()
    page.wait_for_selector("text=Acknowledged by keeper", timeout=POLLED_MS)
    assert page.locator("h1").inner_text() == "Nothing waits for an answer."
    assert page.get_by_role("button", name="Acknowledge").count() == 0


def test_nobody_has_told_of_a_yard(empty, visit):
    page = visit(empty.url)
    assert page.locator("h1").inner_text() == "No hives yet."
    assert "hivewatch apiary load" in the_text(page)
    page.goto(f"{empty.url}/#/alerts")
    page.wait_for_selector("text=No alerts so far.")


def test_a_broker_that_is_away_is_said_and_over_again(here, visit):
    visit.expect("503")
    here.fault = "broker 127.0.0.1:1883: cannot be reached; check [broker] url"
    page = visit(here.url)
    said = page.locator(".note")
    assert said.inner_text() == (
        "Not everything works, and news may be missing: "
        "broker 127.0.0.1:1883: cannot be reached; check [broker] url."
    )
    here.fault = None
    said.wait_for(state="detached", timeout=POLLED_MS)


def test_a_device_without_a_hive_is_named(here, visit):
    here.send(b'[{"n": "weight", "u": "kg", "v": 30}]', device="stray-7")
    page = visit(here.url)
    assert "1 device without a hive: stray-7" in the_text(page)


def test_a_hive_without_readings_says_so(here, visit):
    page = visit(f"{here.url}/#/hive/quarry-1")
    assert page.get_by_text("No readings in this span.").count() == 3
    assert "No device stands here" in the_text(page)


def test_a_hive_that_is_not_there(here, visit):
    visit.expect("404")
    page = visit(f"{here.url}/#/hive/hazel-9")
    assert "no such hive" in the_text(page)


def test_silence_of_the_server_is_said_and_over_again(here, visit):
    visit.expect("ERR_FAILED")
    page = visit(here.url)
    page.route("**/api/**", lambda route: route.abort())
    page.wait_for_selector("#trouble:not([hidden])", timeout=POLLED_MS)
    assert "No answer from hivewatch" in page.locator("#trouble").inner_text()
    assert page.locator("h1").inner_text() == "1 of 3 hives wants a look."
    page.unroute("**/api/**")
    page.wait_for_selector("#trouble", state="hidden", timeout=POLLED_MS)


def test_an_alert_of_what_is_over_asks_for_nothing(here, visit):
    hungry = Finding("low_stores", "hive:quarry-1", NOW_S - DAY_S, None, NOW_S - DAY_S, 0.9)
    here.tell(hungry, hive="quarry-1", yard="quarry")
    page = visit(f"{here.url}/#/alerts")
    assert page.locator("h1").inner_text() == "2 alerts not acknowledged yet."
    fed = replace(hungry, end_s=NOW_S - 3600, status="ended")
    here.tell(fed, hive="quarry-1", yard="quarry")
    page.wait_for_selector("text=1 alert not acknowledged yet.", timeout=POLLED_MS)
    assert "Over since 04:00 today" in the_text(page)
    assert page.get_by_role("button", name="Acknowledge").count() == 1


def test_the_yards_say_what_the_round_wants_of_each_hive(here, visit):
    page = visit(here.url)
    page.wait_for_selector("text=The round")
    assert "The round: 2 yards need a visit; Hazel End first, now, as soon as it is safe." in (
        the_text(page)
    )
    fallen = " ".join(page.get_by_role("row", name="hazel-1").inner_text().split())
    assert "take spare floor and cover, strap" in fallen
    assert "count again" in page.get_by_role("row", name="quarry-1").inner_text()


def test_the_first_key_leads_past_the_menu(here, visit):
    page = visit(here.url)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "hazel-1"


def test_all_alerts_are_acknowledged_at_once(here, visit):
    here.tell(Finding("robbing", "hive:hazel-1", NOW_S - 900, None, NOW_S - 600, 0.95))
    page = visit(f"{here.url}/#/alerts")
    page.get_by_role("button", name="Acknowledge all 2").click()
    page.get_by_text("Nothing waits for an answer.").wait_for()
    assert page.get_by_role("button", name="Acknowledge").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_what_could_not_be_used_says_why_and_is_tried_again(here, visit, viewport, scheme):
    ahead_s = NOW_S + 2 * DAY_S + 60
    here.send(b'[{"n": "weight", "u": "kg", "v": 31.5, "t": %d}]' % ahead_s)
    here.send(b'[{"n": "weigth", "u": "kg", "v": 30}]')
    page = visit(here.url, viewport, color_scheme=scheme)
    page.get_by_role("link", name="See why").click()
    page.get_by_text("2 messages could not be used, or not wholly.").wait_for()
    assert "weigth" in the_text(page)
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
    page.get_by_role("spinbutton").fill("-48.5")
    page.get_by_role("button", name="Move and try again").click()
    page.get_by_text("1 message could not be used").wait_for()
    span = {"from": "2026-05-11T08:31:00Z", "to": "2026-05-11T08:32:00Z", "step": "1m"}
    got = here.http.get("/api/v1/hives/hazel-1/readings", params={"quantity": "weight", **span})
    assert [one["mean"] for one in got.json()["items"]] == [31.5]
    page.get_by_role("button", name="Try again").click()
    page.get_by_text("0 readings taken, 1 still not.").wait_for()


def test_counts_do_not_show_how_readings_fall_on_steps(here, visit):
    page = visit(f"{here.url}/#/hive/hazel-1")
    with page.expect_response(lambda answer: "quantity=bees-in" in answer.url) as asked:
        page.get_by_text("3 days", exact=True).click()
    told = asked.value.json()
    assert told["step"] == "1h"
    assert {one["count"] for one in told["items"][1:-1]} == {6}  # of ten minutes each


@pytest.mark.parametrize("address", ["#/hives", "#/%E0", "#/yard"])
def test_an_address_of_no_page_says_so_and_leads_back(here, visit, address):
    page = visit(f"{here.url}/{address}")
    page.get_by_role("heading", name="Nothing here").wait_for()
    page.get_by_role("link", name="To the yards").click()
    page.get_by_role("heading", name="wants a look").wait_for()
