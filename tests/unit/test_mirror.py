"""The mirror against a server that refuses, stumbles and goes away, as InfluxDB v2 does.

What the answers mean: RFC 9110, section 15.5, and the InfluxDB v2 manual, "Troubleshoot issues
writing data". The form of a point: the line protocol reference of the same manual.
"""

from __future__ import annotations

import gzip
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event, Thread

import pytest
import structlog
from pydantic import SecretStr
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from hivewatch import metrics
from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.detect.finding import Finding
from hivewatch.errors import UsageError
from hivewatch.ingest.intake import Intake, Message
from hivewatch.mirror import Endpoint, Mirror, loop
from hivewatch.mirror.endpoint import AwayError
from hivewatch.mirror.lines import finding_line, reading_lines
from hivewatch.mirror.told import Told
from hivewatch.settings import Mirror as MirrorSettings
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import findings, mirrored, stale
from hivewatch.store.mirrored import Place
from hivewatch.store.open import Store

T0 = 1_777_593_600  # 2026-05-01T00:00:00Z
TOKEN = "a-token-nobody-may-see"
APIARY = Apiary(
    yards=(Yard("millrace", "Mill race", 52.2, 0.12, "Europe/London"),),
    hives=(Hive("millrace-1", "millrace", "langstroth-deep", 10, 1),),
    placements=(Placement("scale-1", "millrace-1", T0),),
)


class Clock:
    def __init__(self) -> None:
        self.time_s = T0 + 86_400

    def now_s(self) -> int:
        return self.time_s

    def monotonic_s(self) -> float:
        return float(self.time_s)


class Server:
    """Keeps the points it takes; `answers` are given first, then 204."""

    def __init__(self, httpserver: HTTPServer) -> None:
        self.url = httpserver.url_for("").rstrip("/")
        self.points: dict[str, str] = {}
        self.lines: list[str] = []
        self.requests: list[Request] = []
        self.answers: list[Response] = []
        self.judge: Callable[[list[str]], Response | None] = lambda _lines: None
        httpserver.expect_request("/api/v2/write").respond_with_handler(self._take)

    def _take(self, request: Request) -> Response:
        body = request.get_data()
        if request.headers.get("Content-Encoding") == "gzip":
            body = gzip.decompress(body)
        lines = body.decode().splitlines()
        self.requests.append(request)
        if self.answers:
            return self.answers.pop(0)
        refusal = self.judge(lines)
        if refusal is not None:
            return refusal
        self.lines += lines
        for line in lines:
            head, fields, time_ns = line.split(" ")
            self.points[f"{head} {time_ns}"] = fields
        return Response(status=204)

    def take_lines(self) -> list[str]:
        taken, self.lines = self.lines, []
        return taken


def said(status: int, message: str, **headers: str) -> Response:
    """Answer as InfluxDB v2 does."""
    body = json.dumps({"code": "invalid", "message": message})
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return Response(body, status, headers=named, content_type="application/json")


@pytest.fixture
def server(httpserver: HTTPServer) -> Server:
    return Server(httpserver)


@pytest.fixture
def settings(server: Server) -> MirrorSettings:
    return MirrorSettings(url=server.url, org="bees", bucket="hivewatch", token=SecretStr(TOKEN))


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


@pytest.fixture
def make(store: Store, settings: MirrorSettings, clock: Clock) -> Iterator[Callable[[], Mirror]]:
    made: list[Mirror] = []

    def new(**changed: str) -> Mirror:
        made.append(Mirror(store, settings.model_copy(update=changed), clock))
        return made[-1]

    yield new
    for one in made:
        one._endpoint.close()


def publish(store: Store, device: str, *readings: tuple[int, float], name: str = "weight") -> None:
    """Store readings as the daemon does."""
    unit = {"weight": "kg", "nest": "Cel"}[name]
    pack = [{"n": name, "u": unit, "t": T0 + after_s, "v": value} for after_s, value in readings]
    payload = json.dumps(pack).encode()
    message = Message(f"hivewatch/{device}/senml", device, payload, None, T0 + 86_400)
    assert Intake(store, mirrored=True).commit([message]).stored


def place(store: Store, apiary: Apiary = APIARY) -> None:
    with store.write() as connection:
        apiary_rows.load(connection, apiary)


def tell(store: Store, one: Finding, changed_s: int) -> None:
    with store.write() as connection:
        findings.write(connection, [one], "millrace-1", "millrace", changed_s)


def run_out(mirror: Mirror) -> int:
    """Let the mirror send until it has nothing left; gives how many steps it took."""
    steps = 1
    while mirror.step(Event(), lambda: None):
        steps += 1
    return steps


FALLEN = Finding(
    "toppled",
    "hive:millrace-1",
    T0 + 600,
    None,
    T0 + 900,
    0.97,
    {"kg_lost": 20.5, "still_on_kg": 0, "side": "north", "unknown": None},
    id="0123456789abcdef",
)


def test_a_reading_is_a_point_under_the_hive_where_its_device_stood() -> None:
    stood = [Place(T0, "millrace-1", "millrace"), Place(T0 + 100, None, None)]
    page = [((T0 - 1) * 1000, 1, 20.0), (T0 * 1000, 1, 20.25), ((T0 + 100) * 1000 + 5, 4, 1e-7)]
    assert reading_lines("scale-1", stood, page) == [
        f"weight,device=scale-1 value=20.0 {T0 - 1}000000000",
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.25 {T0}000000000",
        f"nest-humidity,device=scale-1 value=1e-07 {T0 + 100}005000000",
    ]


def test_a_finding_is_a_point_at_its_start_with_its_numbers() -> None:
    assert finding_line(FALLEN, T0 + 901) == (
        "finding,kind=toppled,status=open,subject=hive:millrace-1"
        " kg_lost=20.5,still_on_kg=0.0,confidence=0.97,"
        f"start={T0 + 600}.0,changed={T0 + 901}.0 {T0 + 600}000000000"
    )


def test_all_that_was_stored_before_is_sent_once(store, server, make) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0), (300, 20.5))
    with store.write() as connection:  # as if it had been stored when there was no mirror
        mirrored.forget(connection)
    run_out(make())
    assert sorted(server.take_lines()) == [
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.0 {T0}000000000",
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.5 {T0 + 300}000000000",
    ]
    run_out(make())
    assert server.take_lines() == []
    request = server.requests[0]
    assert request.args.to_dict() == {"org": "bees", "bucket": "hivewatch", "precision": "ns"}
    assert request.headers["Authorization"] == f"Token {TOKEN}"


def test_only_what_is_new_is_sent_and_late_readings_are_among_it(store, server, make) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0), (600, 21.0))
    mirror = make()
    run_out(mirror)
    server.take_lines()
    publish(store, "scale-1", (900, 22.0))
    run_out(mirror)
    assert [line.split("value=")[1] for line in server.take_lines()] == [
        f"22.0 {T0 + 900}000000000"
    ]
    publish(store, "scale-1", (300, 20.5))
    run_out(mirror)
    assert f"{T0 + 300}000000000" in server.take_lines()[0]
    assert len(server.points) == 4


def test_a_long_history_goes_page_by_page_and_goes_on_after_a_fault(
    store, server, make, monkeypatch
) -> None:
    monkeypatch.setattr(loop, "POINTS", 50)
    place(store)
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(240)))
    publish(store, "scale-1", *((60 * i, 34.0) for i in range(240)), name="nest")
    mirror = make()
    for _ in range(4):
        mirror.step(Event(), lambda: None)
    before = len(server.take_lines())
    server.answers = [said(503, "busy")]
    with pytest.raises(AwayError):
        run_out(mirror)
    run_out(make())  # the program was started again
    assert before > 150
    assert before + len(server.take_lines()) == 480
    assert len(server.points) == 480


def test_what_is_stored_while_a_page_is_on_its_way_is_not_taken_for_sent(
    store, server, make
) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0), (600, 21.0))
    late = iter([(300, 20.5)])

    def store_more(_lines: list[str]) -> None:
        for reading in late:
            publish(store, "scale-1", reading)

    server.judge = store_more
    run_out(make())
    assert len(server.points) == 3


def test_a_device_that_sends_much_does_not_hold_up_the_others(
    store, server, make, monkeypatch
) -> None:
    monkeypatch.setattr(loop, "POINTS", 50)
    publish(store, "a-much", *((60 * i, 20 + i / 100) for i in range(240)))
    publish(store, "b-little", (0, 20.0))
    make().step(Event(), lambda: None)
    assert any("device=b-little" in line for line in server.lines)


def test_a_device_placed_later_is_sent_again_under_its_hive(store, server, make, clock) -> None:
    publish(store, "scale-1", (0, 20.0))
    mirror = make()
    run_out(mirror)
    assert server.take_lines() == [f"weight,device=scale-1 value=20.0 {T0}000000000"]
    place(store)
    clock.time_s += 10
    run_out(mirror)
    assert server.take_lines() == [
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.0 {T0}000000000"
    ]


def test_another_bucket_is_sent_everything(store, server, make) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0))
    tell(store, FALLEN, T0 + 900)
    run_out(make())
    assert len(server.take_lines()) == 2
    run_out(make(bucket="another"))
    assert len(server.take_lines()) == 2
    run_out(make(bucket="another"))
    assert [line for line in server.take_lines() if not line.startswith("finding")] == []


def test_a_finding_is_sent_again_when_it_changes_even_within_a_second(store, server, make) -> None:
    mirror = make()
    tell(store, FALLEN, T0 + 900)
    run_out(mirror)
    run_out(mirror)
    assert len(server.take_lines()) == 1
    over = Finding(**{**_fields(FALLEN), "status": "ended", "end_s": T0 + 900})
    tell(store, over, T0 + 900)
    run_out(mirror)
    assert f"end={T0 + 900}.0" in server.take_lines()[0]


def _fields(one: Finding) -> dict[str, object]:
    return {name: getattr(one, name) for name in one.__dataclass_fields__}


def test_a_finding_that_is_committed_late_or_by_a_clock_set_back_is_sent(
    store, server, make, clock
) -> None:
    mirror = make()
    tell(store, FALLEN, T0 + 5000)
    run_out(mirror)
    other = Finding(**{**_fields(FALLEN), "id": "2", "start_s": T0 + 601})
    tell(store, other, T0 + 5000 - 300)  # its look took five minutes
    run_out(mirror)
    assert len(server.points) == 2
    clock.time_s = T0 + 1000
    third = Finding(**{**_fields(FALLEN), "id": "3", "start_s": T0 + 602})
    tell(store, third, T0 + 1000)
    run_out(mirror)
    assert len(server.points) == 3


REFUSALS = {
    401: "refused the token (401: no); check [mirror] token_file",
    403: "does not let the token write (403: no); give it the right to write into the bucket",
    404: "knows no such organisation or bucket (404: no); check [mirror] url, org and bucket",
}


@pytest.mark.parametrize("status", REFUSALS)
def test_what_a_person_must_mend_is_told_once_and_tried_again_slowly(
    store, server, make, clock, status
) -> None:
    publish(store, "scale-1", (0, 20.0))
    mirror = make()
    server.answers = [said(status, "no") for _ in range(4)]
    with structlog.testing.capture_logs() as logs:
        for _ in range(4):
            with pytest.raises(AwayError) as caught:
                run_out(mirror)
            mirror._note(caught.value)
            clock.time_s += 600
        run_out(mirror)
    assert caught.value.permanent
    assert loop._wait_s(caught.value, 1) >= loop.FOR_GOOD_S / 2
    assert [one["event"] for one in logs] == ["mirror_away", "mirror_away_over"]
    assert logs[0]["log_level"] == "error"
    assert logs[0]["said"] == f"mirror {server.url}: {REFUSALS[status]}"
    assert (logs[1]["lasted_s"], logs[1]["times"]) == (2400, 4)
    assert TOKEN not in str(logs) + str(caught.value) + repr(mirror._endpoint.__dict__)
    assert len(server.points) == 1


def test_an_outage_is_told_once_and_then_every_hour(store, server, make, clock) -> None:
    publish(store, "scale-1", (0, 20.0))
    mirror = make()
    with structlog.testing.capture_logs() as logs:
        for _ in range(25):
            server.answers = [said(503, "engine is restarting")]
            with pytest.raises(AwayError) as caught:
                run_out(mirror)
            mirror._note(caught.value)
            clock.time_s += 300
    assert not caught.value.permanent
    assert [(one["log_level"], one["times"]) for one in logs] == [
        ("warning", 1),
        ("warning", 13),
        ("warning", 25),
    ]
    assert (
        str(caught.value) == f"mirror {server.url}: takes nothing now (503: engine is restarting)"
    )


def test_the_wait_grows_to_five_minutes_and_heeds_the_server() -> None:
    away = AwayError("mirror", "cannot be reached", "")
    waits = [max(loop._wait_s(away, tries) for _ in range(200)) for tries in range(1, 40)]
    assert 0.9 < waits[0] <= 1
    assert 3.5 < waits[2] <= 4
    assert 250 < max(waits) <= 300
    told = AwayError("mirror", "takes nothing now", "", again_after_s=77)
    assert loop._wait_s(told, 1) == 77


def test_retry_after_is_read_in_seconds_alone(server, settings) -> None:
    endpoint = Endpoint(settings)
    waits = []
    for word in ("30", "99999999", "Wed, 21 Oct 2026 07:28:00 GMT", "-1"):
        server.answers = [said(429, "too many", Retry_After=word)]
        with pytest.raises(AwayError) as caught:
            endpoint.write(["weight value=1 1"])
        waits.append(caught.value.again_after_s)
    endpoint.close()
    assert waits == [30, 3600, None, None]


def counts() -> dict[str, float]:
    return {
        state: metrics.MIRROR_POINTS.labels(state)._value.get() for state in ("written", "refused")
    }


def test_one_point_that_is_refused_is_found_counted_and_left_out(store, server, make) -> None:
    before = counts()
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(500)))

    def judge(lines: list[str]) -> Response | None:
        bad = [line for line in lines if "value=21.23 " in line]
        return said(400, f"unable to parse '{bad[0]}': bad") if bad else None

    server.judge = judge
    with structlog.testing.capture_logs() as logs:
        run_out(make())
    assert len(server.points) == 499
    assert [one["event"] for one in logs] == ["mirror_refused_points"]
    after = counts()
    assert after["written"] - before["written"] == 499
    assert after["refused"] - before["refused"] == 1


def test_a_batch_that_is_bad_throughout_does_not_stop_the_mirror(store, server, make) -> None:
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(500)))
    publish(store, "scale-2", (0, 34.0), name="nest")

    def judge(lines: list[str]) -> Response | None:
        return said(400, "no weights here") if any("weight," in line for line in lines) else None

    server.judge = judge
    run_out(make())
    assert len(server.points) == 1
    assert len(server.requests) < 60


def test_points_older_than_the_bucket_keeps_are_counted_and_the_rest_is_there(
    store, server, make
) -> None:
    before = counts()
    publish(store, "scale-1", *((60 * i, 20.0 + i) for i in range(10)))
    message = "partial write: points beyond retention policy dropped=4"
    server.answers = [said(422, message)]
    run_out(make())
    assert len(server.requests) == 1
    after = counts()
    assert after["written"] - before["written"] == 6
    assert after["refused"] - before["refused"] == 4


def test_a_batch_that_is_too_large_goes_in_parts(store, server, make) -> None:
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(500)))
    server.judge = lambda lines: Response(status=413) if len(lines) > 40 else None
    run_out(make())
    assert len(server.points) == 500


def test_a_server_that_is_not_there_is_told_in_words(settings) -> None:
    for url, words in (
        ("http://127.0.0.1:9", "cannot be reached (Connection refused)"),
        ("http://nowhere.invalid", "cannot be reached (its name is not known)"),
    ):
        endpoint = Endpoint(settings.model_copy(update={"url": url}))
        with pytest.raises(AwayError) as caught:
            endpoint.write(["weight value=1 1"])
        endpoint.close()
        assert str(caught.value) == f"mirror {url}: {words}; check [mirror] url"


def test_asking_sends_no_point(server, settings) -> None:
    endpoint = Endpoint(settings)
    server.answers = [said(400, "writing requires points")]
    assert endpoint.check() == f"mirror {server.url}: takes points for bucket hivewatch"
    server.answers = [said(401, "unauthorized access")]
    with pytest.raises(AwayError, match="refused the token"):
        endpoint.check()
    endpoint.close()
    assert server.lines == []


def test_without_the_extra_one_line_says_what_to_install(settings, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "influxdb_client.client.influxdb_client", None)
    with pytest.raises(UsageError) as caught:
        Endpoint(settings)
    assert str(caught.value) == (
        "[mirror]: needs the InfluxDB client, which is not installed;"
        " pip install 'hivewatch[mirror]', or take the section out"
    )


def test_without_a_mirror_nothing_is_kept_for_it(store) -> None:
    publish(store, "scale-1", (0, 20.0))
    with store.write() as connection:
        mirrored.take_over(connection, "somewhere")
        mirrored.forget(connection)
        assert [one.subject for one in stale.read(connection)] == ["device:scale-1"]
        assert mirrored.waiting(connection) == []


def test_the_loop_sends_says_that_it_lives_and_ends(store, server, make, monkeypatch) -> None:
    monkeypatch.setattr(loop, "PAUSE_S", 0.05)
    monkeypatch.setattr(loop, "AWAY_S", (0.05, 0.1))
    publish(store, "scale-1", (0, 20.0))
    server.answers = [said(503, "not yet"), said(503, "not yet")]
    stop, beats, enough = Event(), [], Event()

    def beat() -> None:
        beats.append(1)
        if server.points and len(beats) > 5:
            enough.set()

    thread = Thread(target=make().run, args=(stop, beat))
    thread.start()
    assert enough.wait(10)
    stop.set()
    thread.join(5)
    assert not thread.is_alive()
    assert len(server.points) == 1


def test_a_fault_of_another_kind_is_told_at_once() -> None:
    told = Told("mirror_away")
    with structlog.testing.capture_logs() as logs:
        told.again(0, "away", is_grave=False)
        told.again(60, "away", is_grave=False)
        told.again(120, "refused", is_grave=True)
        told.over(180)
        told.over(240)
    assert [(one["event"], one["log_level"]) for one in logs] == [
        ("mirror_away", "warning"),
        ("mirror_away", "error"),
        ("mirror_away_over", "info"),
    ]
