"""The round in a real browser: on a phone, on a desk, on paper."""

from __future__ import annotations

import pytest
from served import NOW_S

from hivewatch.detect.finding import Finding

PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}


def the_text(page):
    return " ".join(page.locator("main").inner_text().split())


@pytest.fixture
def busy(here):
    here.tell(
        Finding("low_stores", "hive:quarry-1", NOW_S - 3600, None, NOW_S - 1800, 0.98),
        hive="quarry-1",
        yard="quarry",
    )
    return here


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_it_fits(busy, visit, viewport, scheme):
    page = visit(f"{busy.url}/#/round", viewport, color_scheme=scheme)
    page.wait_for_selector(".visits li")
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]


def test_it_says_where_to_go_first_why_and_with_what(busy, visit):
    page = visit(f"{busy.url}/#/round")
    page.wait_for_selector(".visits li")
    assert page.locator("h1").inner_text() == (
        "2 yards need a visit; Hazel End first, now, as soon as it is safe."
    )
    assert page.locator("h2").all_inner_texts()[:2] == ["1. Hazel End", "2. Old quarry"]
    said = the_text(page)
    assert "Toppled since Monday 11 May, 09:00 now open to rain, robbers and animals." in said
    assert "Before Old quarry: 1 hive with an emergency here, none at Old quarry." in said
    assert "suit up before you come near" in said
    first, second = (page.locator(".take").nth(n).inner_text() for n in (0, 1))
    assert "strap" in first
    assert "strap" not in second
    assert "5 kg feed" in second
    page.get_by_role("heading", name="hazel-1").get_by_role("link").click()
    page.wait_for_selector("canvas")


def test_on_paper_it_has_the_reasons_and_the_lists_and_no_buttons(busy, visit):
    page = visit(f"{busy.url}/#/round")
    page.wait_for_selector(".visits li")
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Print").is_visible()
    assert not page.locator("nav").is_visible()
    assert page.locator(".take").first.is_visible()
    assert "Mind" in the_text(page)


def test_a_round_of_nothing_says_so(empty, visit):
    page = visit(f"{empty.url}/#/round")
    assert page.locator("h1").inner_text() == "No yards yet."


def test_a_question_is_answered_with_one_tap(here, visit):
    """The handling of the invented season stands four days back; its visit is another day's."""
    page = visit(f"{here.url}/#/round", PHONE)
    page.wait_for_selector("text=What only you know")
    assert "hazel-1. Opened on Thursday 7 May at 10:00, 6.2 kg heavier: a super?" in the_text(page)
    for other in ("Fed", "Only a look", "Something else, 6.2 kg", "Nobody opened it"):
        assert page.get_by_role("button", name=other).count() == 1
    page.get_by_role("button", name="Yes: a super").click()
    page.wait_for_selector("text=Written down as an inspection.")
    told = here.http.get("/api/v1/inspections?hive=hazel-1").json()["items"]
    written = next(one for one in told if (one["key"] or "").startswith("unwritten-"))
    assert written["at"] == "2026-05-07T09:00:00Z"
    assert written["actions"] == [{"what": "super added", "kg": 6.2}]


def test_the_calendar_link_is_shown_when_asked_for(here, visit):
    page = visit(f"{here.url}/#/round", PHONE)
    page.get_by_role("button", name="Calendar for a phone").click()
    page.wait_for_selector("a.address")
    address = page.locator("a.address").get_attribute("href")
    assert here.http.get(address).headers["content-type"] == "text/calendar; charset=utf-8"
    assert page.evaluate("document.documentElement.scrollWidth") == 360


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_a_yards_timeline_fits(here, visit, viewport, scheme):
    page = visit(f"{here.url}/#/yard/hazel-end", viewport, color_scheme=scheme)
    page.wait_for_selector(".story li")
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]


def test_a_yards_timeline_tells_all_the_newest_first_and_by_kind(here, visit):
    page = visit(f"{here.url}/#/round")
    page.get_by_role("link", name="What happened here").first.click()
    page.wait_for_selector(".story li")
    assert page.locator("h1").inner_text() == "What happened at Hazel End"
    times = [one.get_attribute("datetime") for one in page.locator(".story time").all()]
    assert times == sorted(times, reverse=True)
    said = the_text(page).replace("\u202f", " ")
    assert "09:00 today Found hazel-1: Toppled, open, almost certain (98 %)" in said
    assert "hazel-1 by Ada: Queen: seen. Super added, 6.2 kg. <b>calm</b> & light" in said
    assert "scale-1 placed at hazel-1." in said
    page.get_by_text("Found", exact=True).first.click()
    page.get_by_text("Toppled").first.wait_for(state="detached")
    assert "scale-1 placed at hazel-1." in the_text(page)
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Print").is_visible()


def weigh_nothing(here):
    """A super that is written down, and a scale that went on as before; the watch has looked."""
    number = here.write_down(
        hive="hazel-1", at="2026-05-09T10:00:00Z", actions=[{"what": "super added", "kg": 6.2}]
    )
    page = here.http.get("/api/v1/hives/hazel-1/timeline", params={"what": "question"}).json()
    assert page["items"][0]["question"]["inspection"] == number
    return number


@pytest.mark.parametrize("place", ["round", "yard/hazel-end", "hive/hazel-1"])
def test_what_the_scale_never_felt_is_put_right_with_one_tap(here, visit, place):
    number = weigh_nothing(here)
    page = visit(f"{here.url}/#/{place}", PHONE)
    page.get_by_role("button", name="It was not done").first.click()
    told = "The inspection is corrected." if place == "round" else "corrected"
    page.get_by_text(told).first.wait_for(timeout=6000)
    kept = here.http.get(f"/api/v1/inspections/{number}").json()
    assert (kept["actions"], kept["version"]) == ([], 2)
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]


def test_a_tap_on_what_somebody_changed_since_says_so(here, visit):
    visit.expect("412")
    number = weigh_nothing(here)
    page = visit(f"{here.url}/#/round", PHONE)
    page.get_by_role("button", name="It was not done").first.wait_for()
    body = {"hive": "hazel-1", "at": "2026-05-09T10:00:00Z", "note": "fed"}
    url = f"/api/v1/inspections/{number}"
    assert here.http.put(url, json=body, headers={"if-match": "*"}).status_code == 200
    page.get_by_role("button", name="It was not done").first.click()
    page.get_by_text("Somebody has changed it since").wait_for()
    assert here.http.get(url).json()["note"] == "fed"


def test_what_is_written_shows_at_once_without_being_asked_for(here, visit):
    page = visit(f"{here.url}/#/yard/hazel-end")
    page.wait_for_selector(".story li")
    page.wait_for_timeout(1800)  # past the shortest time between two readings of the page
    here.write_down(hive="hazel-1", at="2026-05-10T10:00:00Z", note="just now")
    page.get_by_text("just now").wait_for(timeout=2500)  # polling alone takes four seconds or ten
    url = "/api/v1/inspections"
    one = here.http.get(url).json()["items"][-1]
    here.http.delete(f"{url}/{one['id']}", headers={"if-match": "*"})
    page.get_by_text("withdrawn: it counts for nothing").wait_for(timeout=3500)


def test_without_the_stream_the_page_asks_by_itself(here, visit):
    here.app.state.rooms.feed.close()
    page = visit(f"{here.url}/#/yard/hazel-end")
    page.wait_for_selector(".story li")
    here.write_down(hive="hazel-1", at="2026-05-10T10:00:00Z", note="just now")
    page.get_by_text("just now").wait_for(timeout=9000)


def test_whoever_answers_that_nobody_opened_it_is_kept_by_name(here, visit):
    page = visit(f"{here.url}/#/round", PHONE)
    page.get_by_label("Your name").fill("Ada")
    page.get_by_role("button", name="Nobody opened it").click()
    page.get_by_text("Noted: nobody opened it.").wait_for()
    told = here.http.get("/api/v1/inspections?hive=hazel-1").json()["items"]
    (said,) = [one for one in told if not one["opened"]]
    assert (said["by"], said["at"]) == ("Ada", "2026-05-07T09:00:00Z")
    page.goto(f"{here.url}/#/alerts")
    page.get_by_role("button", name="Acknowledge").click()
    page.get_by_text("Acknowledged by Ada").wait_for()


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_a_hives_timeline_is_its_own_and_goes_back_page_by_page(here, visit, viewport):
    for n in range(120):
        here.write_down(hive="hazel-1", at="2026-05-06T10:00:00Z", note=f"no. {n}")
    flight = (NOW_S - 7200, NOW_S - 5400, NOW_S - 3600, 0.8)
    here.tell(Finding("orientation_flight", "hive:hazel-1", *flight, status="ended"))
    page = visit(f"{here.url}/#/hive/hazel-1", viewport)
    page.get_by_role("link", name="All that happened, by kind").click()
    page.wait_for_selector(".story li")
    assert page.locator("h1").inner_text() == "What happened to hazel-1"
    assert "Young bees" not in the_text(page)  # what every hive does is no news
    assert page.locator(".story li").count() == 50
    while page.get_by_role("button", name="Earlier").count():
        before = page.locator(".story li").count()
        page.get_by_role("button", name="Earlier").click()
        page.locator(".story > li").nth(before).wait_for()
        page.wait_for_timeout(300)
    whole = here.http.get("/api/v1/hives/hazel-1/timeline?limit=1000").json()["items"]
    shown = [one for one in whole if one["what"] != "alert"]
    assert page.locator(".story > li").count() == len(shown) - 1
    page.get_by_text("Every day's flights").click()
    page.get_by_text("Young bees fly").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
