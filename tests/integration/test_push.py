"""Alerts reach a phone through a push service, over TLS, sealed for it alone and signed by us."""

from __future__ import annotations

import logging
import time
from dataclasses import dataclass

import pytest
from push_service import HOST, Browser, PushService, claims_of
from served import served
from werkzeug import Response

from hivewatch import check
from hivewatch.alerts import phones, webpush
from hivewatch.alerts.deliver import Delivery
from hivewatch.alerts.ledger import Letter
from hivewatch.clock import WallClock
from hivewatch.detect.finding import Finding
from hivewatch.settings import Settings
from hivewatch.settings.tree import Store as Kept
from hivewatch.store.phones import read

CONTACT = "https://hives.example.org"


@dataclass
class Desk:
    """A server, a push service, and the daemon's delivery, stepped by hand."""

    here: object
    service: PushService
    delivery: Delivery

    def subscribe(self, browser: Browser) -> str:
        return self.here.http.post("/api/v1/push", json=browser.subscription).json()["id"]

    def find(self, kind: str = "toppled") -> int:
        now_s = self.here.clock.now_s()
        self.here.tell(Finding(kind, "hive:hazel-1", now_s - 60, None, now_s, 0.97))
        return self.here.http.get("/api/v1/alerts").json()["items"][0]["id"]

    def work(self, seconds: int = 0) -> None:
        end_s = self.here.clock.at_s + seconds
        while True:
            while self.delivery.step():
                assert self.delivery.settle(60)
            if self.here.clock.at_s >= end_s:
                self.delivery.step()
                return
            self.here.clock.at_s = min(self.here.clock.at_s + 20, end_s)

    def story(self, number: int) -> dict:
        return self.here.http.get(f"/api/v1/alerts/{number}").json()

    def phone(self) -> dict:
        return self.here.http.get("/api/v1/push").json()["phones"][0]

    def requests(self) -> list:
        return [request for request, _ in self.service.server.log]


@pytest.fixture
def desk(tmp_path, service):
    with served(tmp_path) as here:
        here.load_apiary()
        delivery = Delivery(
            here.store, [], here.clock, phones=lambda: phones.channels(here.store, CONTACT)
        )
        yield Desk(here, service, delivery)
        delivery.close()


def test_an_alert_rings_a_phone_that_alone_can_read_it(desk):
    browser = Browser()
    name = desk.subscribe(browser)
    desk.service.server.expect_request(browser.path, method="POST").respond_with_data("", 201)
    number = desk.find()
    desk.work()
    (request,) = desk.requests()
    told = browser.open(request)
    story = desk.story(number)
    assert (told["title"], told["body"]) == (story["title"], story["body"])
    assert told["stays"] is True
    assert told["opens"] == f"#/alert/{number}"
    assert request.headers["topic"] == told["tag"]
    assert len(told["tag"]) == 32  # RFC 8030 section 5.4
    assert (request.headers["ttl"], request.headers["urgency"]) == (str(7 * 86_400), "high")
    assert len(request.data) <= 4096
    claims = claims_of(request)
    assert (claims["aud"], claims["sub"]) == (f"https://{HOST}", CONTACT)
    now_s = WallClock().now_s()  # not the season's
    assert now_s < claims["exp"] <= now_s + 86_400  # RFC 8292 section 2
    assert claims["key"] == desk.here.http.get("/api/v1/push").json()["key"]
    assert [(one["channel"], one["state"]) for one in story["deliveries"]] == [(name, "sent")]
    assert desk.phone()["heard"] == "2026-05-11T09:00:00Z"


def test_a_repeat_takes_the_place_of_the_first(desk):
    """We die between the send and its record: same tag and topic, so the phone rings once."""
    browser = Browser()
    desk.subscribe(browser)
    desk.service.server.expect_request(browser.path).respond_with_data("", 201)
    desk.find()
    desk.delivery.step()
    for _ in range(500):
        if desk.requests():
            break
        time.sleep(0.01)
    again = Delivery(
        desk.here.store,
        [],
        desk.here.clock,
        phones=lambda: phones.channels(desk.here.store, None),
    )
    again.recover()
    while again.step():
        assert again.settle(60)
    again.close()
    first, second = desk.requests()
    assert browser.open(first)["tag"] == browser.open(second)["tag"] == second.headers["topic"]
    assert "sub" not in claims_of(second)


def test_a_phone_that_is_gone_rings_no_more_and_its_alert_finds_another(desk):
    old, new = Browser("/p/old"), Browser("/p/new")
    name = desk.subscribe(old)
    desk.service.server.expect_request(old.path).respond_with_data("", 410)
    desk.service.server.expect_request(new.path).respond_with_data("", 201)
    number = desk.find()
    desk.work(60)
    assert len(desk.requests()) == 1
    phone = desk.phone()
    assert phone["ended"] is not None
    assert phone["error"] == (
        "the phone has given up its subscription, or its browser has (its push service said 410)"
    )
    with desk.here.store.read() as connection:
        kept = connection.exec_driver_sql("SELECT endpoint, p256dh, auth FROM phone").one()
    assert tuple(kept) == ("", "", "")
    story = desk.story(number)
    assert (story["state"], story["reason"]) == ("waiting", "no channel")
    assert [(d["what"], d["channel"]) for d in story["decisions"] if d["channel"]] == [
        ("dropped", name)
    ]
    desk.subscribe(new)
    desk.work()
    assert desk.story(number)["state"] == "sent"
    assert new.open(desk.requests()[-1])["title"] == story["title"]


def test_a_phone_that_is_switched_off_meanwhile_is_not_rung_for_what_waited(desk):
    browser = Browser()
    name = desk.subscribe(browser)
    desk.service.server.expect_request(browser.path).respond_with_data("", 503)
    number = desk.find()
    desk.work()
    desk.here.http.delete(f"/api/v1/push/{name}")
    desk.work(600)
    assert len(desk.requests()) == 1
    story = desk.story(number)
    assert [one["state"] for one in story["deliveries"]] == ["dropped"]
    assert (story["state"], story["reason"]) == ("waiting", "no channel")


def test_a_service_that_is_busy_is_left_alone_as_long_as_it_asks(desk):
    browser = Browser()
    desk.subscribe(browser)
    busy = Response(status=429, headers={"retry-after": "280"})
    desk.service.server.expect_ordered_request(browser.path).respond_with_response(busy)
    desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 503)
    desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 201)
    number = desk.find()
    desk.work(260)
    assert len(desk.requests()) == 1
    assert desk.phone()["error"] == "its push service said 429"
    desk.work(120)
    assert desk.story(number)["state"] == "sent"
    assert desk.phone()["error"] is None
    assert len(desk.requests()) == 3


@pytest.mark.parametrize("status", [301, 307, 400, 403, 413])
def test_what_is_refused_is_not_tried_again_and_no_redirect_is_followed(desk, status):
    browser = Browser()
    desk.subscribe(browser)
    where = {"location": f"https://{HOST}/elsewhere"}
    refusal = Response(status=status, headers=where)
    desk.service.server.expect_request(browser.path).respond_with_response(refusal)
    number = desk.find()
    desk.work(600)
    assert [one.path for one in desk.requests()] == [browser.path]
    (sent,) = desk.story(number)["deliveries"]
    assert (sent["state"], sent["error"]) == ("failed", f"its push service said {status}")
    assert desk.phone()["ended"] is None


def test_a_service_that_is_slow_or_away_is_tried_again(desk, monkeypatch):
    browser = Browser()
    desk.subscribe(browser)
    monkeypatch.setattr(phones, "OUT", desk.service.line(answer_s=0.3))
    release = []

    def answer(_request):
        for _ in range(200):
            if release:
                break
            time.sleep(0.02)
        return Response(status=201)

    desk.service.server.expect_request(browser.path).respond_with_handler(answer)
    number = desk.find()
    desk.work()
    assert desk.phone()["error"] == "its push service does not answer"
    release.append(True)
    line = phones.Line(reach=lambda _host: (_ for _ in ()).throw(ConnectionRefusedError(111, "no")))
    monkeypatch.setattr(phones, "OUT", line)
    desk.work(40)
    assert desk.phone()["error"] == "its push service cannot be reached (no)"
    monkeypatch.setattr(phones, "OUT", desk.service.line())
    desk.work(300)
    assert desk.story(number)["state"] == "sent"


def test_a_service_with_a_strange_certificate_is_told_nothing(desk, monkeypatch):
    browser = Browser()
    desk.subscribe(browser)
    ours = desk.service.line()
    monkeypatch.setattr(phones, "OUT", phones.Line(reach=ours.reach))
    desk.find()
    desk.work()
    assert desk.requests() == []
    assert "cannot be reached" in desk.phone()["error"]


def test_a_phone_is_tried_out_and_rings_each_time(desk):
    browser = Browser()
    name = desk.subscribe(browser)
    desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 201)
    desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 404)
    tried = desk.here.http.post(f"/api/v1/push/{name}/trial").json()
    assert tried == {"rang": True, "said": "taken by its push service"}
    assert browser.open(desk.requests()[0])["title"] == "hivewatch: a test"
    assert desk.phone()["heard"] is not None
    tried = desk.here.http.post(f"/api/v1/push/{name}/trial").json()
    assert (tried["rang"], desk.phone()["ended"] is None) == (False, False)


def test_check_has_a_line_for_each_phone_and_rings_it_when_asked_to(desk):
    settings = Settings(store=Kept(path=desk.here.store.path))
    assert list(check._phones(settings, rings=False)) == [
        ("phones", True, "none has asked to ring")
    ]
    browser = Browser()
    part = f"{desk.subscribe(browser)} (phone)"
    desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 201)
    desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 403)
    said = [list(check._phones(settings, rings=rings)) for rings in (False, True, True)]
    assert said == [
        [(part, True, "ready; nothing was sent")],
        [(part, True, "test sent")],
        [(part, False, "test failed: its push service said 403")],
    ]
    desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 410)
    desk.here.http.post(f"/api/v1/push/{part.split(maxsplit=1)[0]}/trial")
    ((_, is_well, found),) = check._phones(settings, rings=True)
    assert (is_well, found[:40]) == (False, "rings no more: the phone has given up it")
    desk.here.store.path.with_name("push.secret").write_text("x")
    ((_, is_well, found),) = check._phones(settings, rings=False)
    assert (is_well, "holds no key" in found) == (False, True)


def test_no_secret_is_logged(desk, caplog, capsys):
    browser = Browser()
    with caplog.at_level(logging.DEBUG):
        desk.subscribe(browser)
        with desk.here.store.read() as connection:
            seen = repr(phones.PhoneChannel(*read(connection), desk.here.store.path, None))
        desk.service.server.expect_ordered_request(browser.path).respond_with_data("no", 500)
        desk.service.server.expect_ordered_request(browser.path).respond_with_data("", 410)
        number = desk.find()
        desk.work(60)
    key = desk.here.store.path.with_name("push.secret").read_text()
    seen += repr(desk.story(number)) + "".join(capsys.readouterr())
    seen += " ".join(one.getMessage() for one in caplog.records if one.name != "werkzeug")
    assert "said 410" in seen
    for secret in ("secretpath", key, *browser.subscription["keys"].values()):
        assert secret not in seen


@pytest.mark.parametrize("size", [10, 4000, 60_000])
def test_a_message_of_any_length_fits(size):
    for word in ("b", "ü", "🐝", '"'):
        letter = Letter(1, "phone", "k-1", "A hive lies on its side", word * size, "today", 0, 0)
        raw = phones.message(letter)
        assert len(raw) <= webpush.PLAIN_BYTES_MAX
        assert size != 4000 or len(raw) > 3900 or word != "b"
