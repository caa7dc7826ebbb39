"""Ten thousand random and mutated payloads through the intake into a real store.

Each is stored or in quarantine with a reason, whatever it is, and memory stays flat. The seeds are
fixed; what the decoder makes of hypothesis' own inventions is in test_senml.py.
"""

from __future__ import annotations

import gc
import json
import random
import tracemalloc
from collections import defaultdict
from pathlib import Path

import cbor2
import pytest

from hivewatch.ingest.intake import REASONS, Intake, Message
from hivewatch.store import apiary, quarantine
from hivewatch.store.open import Store
from hivewatch.wire import senml

NOW_S = 1_779_368_400  # 2026-05-21T13:00:00Z
PAYLOADS = 10_000
WARM = 4_000
GROWTH_MAX = 400_000  # [bytes] own choice: a leak of one payload each would be two megabytes
CORPUS = Path(__file__).parents[1] / "data" / "senml-near-miss"
TYPES = (*[None] * 9, "application/senml+json", "application/senml+cbor", "text/plain")
TOKENS = [b"-", b"9", b"e99", b'"', b"null", b"[", b"}", b"\xff", b"\x9f"]
NAMES = {"weight": "kg", "nest": "Cel", "ambient": "Cel", "bees-in": "count", "battery": "V"}


def near_misses() -> list[bytes]:
    """Give the corpus of packs that are wrong in one way each."""
    packs = [file.read_bytes() for file in sorted(CORPUS.glob("*.json"))]
    for file in sorted(CORPUS.glob("*.cbor.hex")):
        lines = file.read_text().splitlines()
        packs.append(bytes.fromhex("".join(line.partition("#")[0] for line in lines)))
    assert len(packs) > 50
    return packs


def good_pack(rng: random.Random) -> bytes:
    """Give a pack as a device sends it."""
    items = [
        {"n": name, "u": unit, "v": round(rng.uniform(0, 50), 2), "t": -rng.randrange(10**6)}
        for name, unit in rng.sample(sorted(NAMES.items()), rng.randint(1, 4))
    ]
    if rng.random() < 0.5:
        return json.dumps(items).encode()
    labels = {"n": 0, "u": 1, "v": 2, "t": 6}  # RFC 8428 section 6, table 4
    return cbor2.dumps([{labels[label]: said for label, said in one.items()} for one in items])


def spoilt(rng: random.Random, pack: bytes) -> bytes:
    """Change, drop, double or insert some bytes."""
    raw = bytearray(pack)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(raw) + 1)
        what = rng.randrange(5)
        if what == 0:
            raw[at : at + 1] = rng.randbytes(1)
        elif what == 1:
            del raw[at : at + rng.randint(1, 8)]
        elif what == 2:
            raw[at:at] = raw[at : at + rng.randint(1, 20)]
        elif what == 3:
            raw[at:at] = rng.choice(
                [b"-", b"9", b"e99", b'"', b"null", b"[", b"}", b"\xff", b"\x9f"]
            )
        else:
            del raw[at:]
    return bytes(raw)


def payload(rng: random.Random, corpus: list[bytes]) -> bytes:
    kind = rng.random()
    if kind < 0.2:
        return rng.randbytes(rng.randrange(200))
    if kind < 0.3:
        return rng.choice(corpus)
    if kind < 0.5:
        return good_pack(rng)
    return spoilt(rng, rng.choice(corpus) if rng.random() < 0.5 else good_pack(rng))


def message(rng: random.Random, corpus: list[bytes]) -> Message:
    device = f"scale-{rng.randrange(20)}"
    said = payload(rng, corpus)
    return Message(f"hivewatch/{device}/senml", device, said, rng.choice(TYPES), NOW_S)


def check(store: Store, messages: list[Message]) -> tuple[int, int]:
    """See that every message is stored, or in quarantine with a reason; counts both."""
    stored = set_aside = 0
    with store.read() as connection:
        numbers = apiary.numbers(connection)
        held = defaultdict(set)
        for kept in quarantine.read(connection):
            assert kept.faults
            assert all(detail for _, _, detail in kept.faults)
            held[kept.device, kept.raw] |= {reason for _, reason, _ in kept.faults}
        for one in messages:
            pack = senml.decode(one.payload, one.content_type, NOW_S)
            reasons = held[one.device, one.payload]
            for record in pack.records:
                found = connection.exec_driver_sql(
                    "SELECT value FROM reading WHERE device = ? AND quantity = ? AND time_ms = ?",
                    (numbers[one.device], record.quantity, record.time_ms),
                ).scalar_one()
                assert found == pytest.approx(record.value, abs=1e-6) or "conflict" in reasons
            stored += bool(pack.records)
            set_aside += bool(reasons)
            assert {fault.reason for fault in pack.faults} <= reasons <= set(REASONS)
            assert pack.records or reasons
    return stored, set_aside


@pytest.mark.slow
def test_ten_thousand_payloads_are_each_stored_or_set_aside_and_memory_is_flat(tmp_path):
    store = Store(tmp_path / "hivewatch.db")
    intake = Intake(store)
    rng, corpus = random.Random(8428), near_misses()
    done = at_warm = 0
    while done < PAYLOADS:
        if done >= WARM and not at_warm:
            gc.collect()
            tracemalloc.start()
            at_warm = done
        messages = [message(rng, corpus) for _ in range(min(rng.randint(1, 120), PAYLOADS - done))]
        intake.commit(messages)
        done += len(messages)
        del messages
    gc.collect()
    growth = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    again = random.Random(8428)  # only now, so that memory is the intake's alone
    everything = []
    while len(everything) < PAYLOADS:
        size = min(again.randint(1, 120), PAYLOADS - len(everything))
        everything += [message(again, corpus) for _ in range(size)]
    stored, set_aside = check(store, everything)
    print(f"{stored} with readings, {set_aside} set aside, memory grew {growth / 1000:.0f} kB")
    assert stored > PAYLOADS / 5
    assert set_aside > PAYLOADS / 5
    assert growth < GROWTH_MAX
    store.close()


def test_a_batch_of_bad_packs_alone_stores_nothing_and_breaks_nothing(tmp_path):
    store = Store(tmp_path / "hivewatch.db")
    intake = Intake(store)
    bad = [
        Message("hivewatch/scale-1/senml", "scale-1", raw, None, NOW_S)
        for raw in (b"", b"\x00", b"[]", b"[[]]", b"{}", b"\xff" * 50, b"[" * 5000, b"\x9f" * 5000)
    ]
    done = intake.commit(bad)
    assert (done.stored, done.quarantined, done.newest_s) == (0, len(bad), 0)
    check(store, bad)
    store.close()
