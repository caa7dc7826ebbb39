"""mosquitto is killed at random moments, with the settings that `deploy/` ships."""

from __future__ import annotations

import random
import time
from pathlib import Path
from threading import Event, Thread

import pytest
from brokers import Devices, Mosquitto, weight_pack
from listening import Listening

SETTINGS = Path(__file__).parents[2] / "deploy" / "mosquitto.conf"
OURS = ("pid_file", "log_dest", "persistence_location", "allow_anonymous", "password_file")
OURS += ("acl_file", "listener")  # places and names, which differ in a test
BROKERS, KILLS = 4, 5
START_S = 1_777_593_600
PACE_S = 0.003
AT_RISK_S = 1.0  # what deploy/mosquitto.conf says may be lost

pytestmark = [pytest.mark.slow, pytest.mark.timeout(150)]


def shipped_settings(folder):
    """Give the lines of deploy/mosquitto.conf that are no places or names."""
    lines = [line for line in SETTINGS.read_text("utf-8").splitlines() if line[:1] not in {"#", ""}]
    kept = [line for line in lines if line.split()[0] not in OURS]
    assert "persistence true" in kept
    return [*kept, f"persistence_location {folder}/"]


class Course(Thread):
    """One broker, one device, one subscriber (away or there), and some kills."""

    def __init__(self, folder, number):
        super().__init__()
        self.random = random.Random(number)
        self.is_away = number % 2 == 0
        self.acknowledged = {}  # time of the reading -> (when acknowledged, round)
        self.killed_s = []
        self.broker = Mosquitto(folder, shipped_settings(folder))
        self.here = Listening(folder, self.broker.url)
        self.fault = None

    def run(self):
        try:
            self._run()
        except BaseException as fault:
            self.fault = fault
            raise

    def _run(self):
        self.here.start()
        if self.is_away:
            self.here.stop()
        count = 0
        for kill in range(KILLS):
            field = Devices(self.broker.port)
            dead = Event()
            sent, noted = {}, []
            field.client.on_publish = lambda _client, _data, mid, *_, noted=noted: noted.append(
                (mid, time.monotonic())
            )
            killer = Thread(target=self._kill_later, args=(dead,))
            killer.start()
            while not dead.is_set():
                info = field.post("hivewatch/scale-1/senml", weight_pack(START_S + count, 20.0))
                sent[info.mid] = START_S + count
                count += 1
                time.sleep(PACE_S)
            killer.join()
            field.close()
            self.acknowledged |= {sent[mid]: (at_s, kill) for mid, at_s in noted}
            self.broker.start()
        if self.is_away:
            self.here.start()
        self.published = count

    def _kill_later(self, dead):
        time.sleep(self.random.uniform(2.2, 3.6))
        self.broker.kill()
        self.killed_s.append(time.monotonic())
        dead.set()

    def missing(self):
        """Give how long before the kill each lost reading was acknowledged."""
        stored = {round(time_s) for _, _, time_s, _ in self.here.readings()}
        return {
            time_s: self.killed_s[kill] - at_s
            for time_s, (at_s, kill) in self.acknowledged.items()
            if time_s not in stored
        }


def test_what_is_lost_was_acknowledged_in_the_last_second(tmp_path):
    courses = []
    for number in range(BROKERS):
        (tmp_path / str(number)).mkdir()
        courses.append(Course(tmp_path / str(number), number))
    try:
        for one in courses:
            one.start()
        for one in courses:
            one.join(60.0)
            assert not one.is_alive()
            assert one.fault is None
        time.sleep(1.0)
        for one in courses:
            before = -1
            while (count := one.here.count()) != before:
                before = count
                time.sleep(1.5)
        lost = {}
        for number, one in enumerate(courses):
            ages = one.missing()
            lost |= {(number, time_s): age for time_s, age in ages.items()}
            print(
                f"{'away ' if one.is_away else 'there'}: {len(one.acknowledged)} acknowledged,"
                f" {one.here.count()} stored, {len(ages)} lost,"
                f" the oldest {max(ages.values(), default=0):.2f} s before its kill"
            )
            assert len(one.acknowledged) > KILLS * 200
            assert one.here.held() == []
        assert len([kill for one in courses for kill in one.killed_s]) == BROKERS * KILLS
        assert max(lost.values(), default=0.0) <= AT_RISK_S
    finally:
        for one in courses:
            if one.here.is_running:
                one.here.stop()
            one.here.store.close()
            one.broker.kill()
