"""This phone rings: asked on a touch, shown by the service worker, tried out, switched off."""

from __future__ import annotations

import json

import pytest
from push_service import HOST, Browser
from served import NOW_S

from hivewatch.alerts import phones
from hivewatch.alerts.ledger import Outcome
from hivewatch.store.phones import name_of

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}
ENDPOINT = f"https://{HOST}/p/secretpath"
# The browser's own push service is far away: what it would give is given here. The rest is real.
SUBSCRIBING = """
  let held = null;
  const made = (options) => ({
    endpoint: %(endpoint)s,
    options: { applicationServerKey: options.applicationServerKey.buffer },
    toJSON: () => (%(json)s),
    unsubscribe: async () => { held = null; sessionStorage.removeItem("held"); return true; },
  });
  window.asked = [];
  const key = sessionStorage.getItem("held");
  if (key) held = made({ applicationServerKey: Uint8Array.from(JSON.parse(key)) });
  PushManager.prototype.getSubscription = async () => held;
  PushManager.prototype.subscribe = async (options) => {
    window.asked.push(options.userVisibleOnly);
    sessionStorage.setItem("held", JSON.stringify([...options.applicationServerKey]));
    held = made(options);
    return held;
  };
  Notification.requestPermission = async () => Notification.permission;
"""


def part(page):
    return page.locator(".ring")


def words(page):
    return " ".join(part(page).inner_text().split())


@pytest.fixture
def browser():
    return Browser()


@pytest.fixture
def open_ringing(here, chromium, browser):
    """Open the alerts in a browser that allows notifications."""
    contexts = []

    def open_at(viewport=PHONE, *, allowed=True, touch=True):
        context = chromium.new_context(viewport=viewport, has_touch=touch, is_mobile=touch)
        contexts.append(context)
        if allowed:
            context.grant_permissions(["notifications"], origin=here.url)
        else:
            denied = "Object.defineProperty(Notification, 'permission', { value: 'denied' })"
            context.add_init_script(denied)
        given = json.dumps(browser.subscription)
        context.add_init_script(SUBSCRIBING % {"endpoint": json.dumps(ENDPOINT), "json": given})
        page = context.new_page()
        page.goto(f"{here.url}/#/alerts")
        page.wait_for_selector(".ring")
        return page

    yield open_at
    for context in contexts:
        context.close()


def test_a_phone_rings_from_a_touch_on_until_it_is_switched_off(
    here, open_ringing, service, browser
):
    page = open_ringing()
    assert words(page).startswith("This phone does not ring. Ring this phone")
    assert page.evaluate("asked") == []  # nobody is asked before a touch
    page.get_by_role("button", name="Ring this phone").click()
    page.wait_for_selector("text=This phone rings.")
    assert page.evaluate("asked") == [True]
    (known,) = here.http.get("/api/v1/push").json()["phones"]
    assert known["id"] == name_of(ENDPOINT)
    assert "Chrome" in known["label"]
    assert words(page).startswith("This phone rings. Not rung yet. Ring once now Switch off")

    service.server.expect_ordered_request(browser.path).respond_with_data("", 201)
    service.server.expect_ordered_request(browser.path).respond_with_data("", 503)
    page.get_by_role("button", name="Ring once now").click()
    page.wait_for_selector("text=Sent. If nothing rings")
    page.wait_for_selector("text=Last reached")
    page.get_by_role("button", name="Ring once now").click()
    page.wait_for_selector("text=It did not ring: its push service said 503.")

    page.reload()  # it is known again
    page.wait_for_selector("text=This phone rings.")
    page.get_by_role("button", name="Switch off").first.click()
    page.wait_for_selector("text=This phone does not ring")
    assert here.http.get("/api/v1/push").json()["phones"] == []
    assert page.evaluate("sessionStorage.getItem('held')") is None
    page.get_by_role("button", name="Ring this phone").click()
    page.wait_for_selector("text=This phone rings.")


def test_a_phone_that_is_gone_says_why_and_can_be_taken_off(here, open_ringing):
    page = open_ringing(DESK, touch=False)
    page.get_by_role("button", name="Ring this computer").click()
    page.wait_for_selector("text=This computer rings.")
    with here.store.write() as connection:
        gone = Outcome("failed", "channel removed", "its push service said 410")
        phones.note(connection, name_of(ENDPOINT), gone, NOW_S)
    page.reload()
    page.wait_for_selector("text=This computer does not ring")
    page.locator(".ring summary").click()
    assert "rings no more since 10:00 today. Not reached" in words(page)
    assert "its push service said 410" in words(page)
    page.get_by_role("button", name="Take off the list").click()
    page.wait_for_selector(".ring summary", state="detached")


def test_a_browser_that_refused_is_told_where_to_allow_it(open_ringing):
    page = open_ringing(allowed=False)
    assert "does not ring: you refused this page's notifications" in words(page)
    assert part(page).get_by_role("button").count() == 0


def test_a_page_without_tls_says_why_it_cannot_ring(here, chromium):
    context = chromium.new_context(viewport=PHONE)
    context.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
    page = context.new_page()
    page.goto(f"{here.url}/#/alerts")
    page.wait_for_selector(".ring")
    assert "does not ring: a browser rings only for pages that it has over HTTPS" in words(page)
    context.close()


def test_alerts_are_shown_all_the_same_where_the_key_is_broken(here, open_ringing):
    here.store.path.with_name("push.secret").write_text("nothing of the kind")
    page = open_ringing()
    assert "does not ring: " in words(page)
    assert "push.secret: holds no key; delete it" in words(page)
    assert page.locator(".findings h2").count() == 1


def test_the_service_worker_shows_a_message_and_its_repeat_takes_its_place(here, open_ringing):
    """Delivered by the browser itself, as if its push service had sent it."""
    page = open_ringing()
    page.get_by_role("button", name="Ring this phone").click()
    page.wait_for_selector("text=This phone rings.")
    session = page.context.new_cdp_session(page)
    found = []
    session.on(
        "ServiceWorker.workerRegistrationUpdated", lambda told: found.extend(told["registrations"])
    )
    session.send("ServiceWorker.enable")
    page.evaluate(
        """new Promise((done) => navigator.serviceWorker.controller ? done()
            : navigator.serviceWorker.addEventListener("controllerchange", () => done()))"""
    )
    (registration,) = {one["registrationId"] for one in found}

    def touch(tag):
        (worker,) = page.context.service_workers
        worker.evaluate(
            """async (tag) => {
                const [notification] = await registration.getNotifications({ tag });
                dispatchEvent(new NotificationEvent("notificationclick", { notification }));
            }""",
            tag,
        )

    def deliver(**told):
        session.send(
            "ServiceWorker.deliverPushMessage",
            {"origin": here.url, "registrationId": registration, "data": json.dumps(told)},
        )

    shown = """async (count) => {
        const registration = await navigator.serviceWorker.ready;
        for (let n = 0; n < 100; n += 1) {
            const all = await registration.getNotifications();
            if (all.length >= count && n > 5) {
                return all.map(({ title, body, tag, renotify, requireInteraction }) =>
                    ({ title, body, tag, renotify: renotify ?? false, stays: requireInteraction }));
            }
            await new Promise((done) => setTimeout(done, 50));
        }
        return null;
    }"""
    first = {"title": "Millrace 1 lies on its side", "body": "Go.", "tag": "one", "stays": True}
    deliver(**first)
    assert page.evaluate(shown, 1) == [first | {"renotify": False}]
    deliver(**first)
    assert page.evaluate(shown, 1) == [first | {"renotify": False}]
    (alert,) = here.http.get("/api/v1/alerts").json()["items"]
    deliver(title="Other", body="b", tag="two", stays=False, opens=f"#/alert/{alert['id']}")
    assert {one["tag"] for one in page.evaluate(shown, 2)} == {"one", "two"}

    page.goto(f"{here.url}/#/round")
    touch("one")
    page.wait_for_url(f"{here.url}/#/alerts")
    assert [one["tag"] for one in page.evaluate(shown, 1)] == ["two"]
    touch("two")
    page.wait_for_url(f"{here.url}/#/alert/{alert['id']}")
    page.wait_for_selector(f"text={alert['title']}")
    assert page.locator(".message").inner_text() == alert["body"]


def test_the_worker_is_served_from_the_root_and_asked_for_anew(here):
    answer = here.http.get("/service-worker.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    manifest = here.http.get("/manifest.webmanifest")
    assert manifest.headers["content-type"].startswith("application/manifest+json")
    assert manifest.json()["display"] == "standalone"


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_the_page_fits_with_phones_that_ring(here, open_ringing, viewport, tmp_path):
    page = open_ringing(viewport, touch=viewport is PHONE)
    page.locator(".ring button").first.click()
    page.wait_for_selector("text=Ring once now")
    assert here.http.post("/api/v1/push", json=Browser("/p/2").subscription).status_code == 201
    page.locator(".ring summary").click()
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
    page.screenshot(path=tmp_path / "page.png", full_page=True)
