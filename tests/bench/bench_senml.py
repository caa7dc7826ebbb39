"""How long decoding takes, beside msgspec and cbor2 that only parse, in the same run.

Run it: python tests/bench/bench_senml.py
"""

import json
import time
import timeit

import cbor2
import msgspec

from hivewatch.wire.payload import CBOR_LABELS
from hivewatch.wire.senml import decode

NOW_S = 1_779_368_400.0
NUMBERS_OF = {label: number for number, label in CBOR_LABELS.items()}

BASE = {"bn": "urn:dev:ow:10e2073a01080063:", "bt": 1_779_368_400}
SIX = [
    {"n": "weight", "u": "kg", "v": 42.17},
    {"n": "nest", "u": "Cel", "v": 34.9},
    {"n": "ambient", "u": "Cel", "v": 18.2},
    {"n": "nest-humidity", "u": "%RH", "v": 61.5},
    {"n": "bees-in", "u": "count", "v": 120},
    {"n": "bees-out", "u": "count", "v": 131},
]


def pack_of(count):
    items = [{**SIX[n % 6], "t": -300 * (n // 6)} for n in range(count)]
    items[0] = {**BASE, **items[0]}
    return items


def in_cbor(items):
    return cbor2.dumps(
        [{NUMBERS_OF[label]: said for label, said in each.items()} for each in items]
    )


def seconds(work, seconds_at_least=0.2, rounds=5):
    """Give the best of some rounds in processor time: what others do on the machine only adds."""
    timer = timeit.Timer(work, timer=time.process_time)
    count, _ = timer.autorange()
    count = max(1, round(count * seconds_at_least / 0.2))
    return min(timer.repeat(rounds, count)) / count


def measure(seconds_at_least=0.2):
    """Give a row for each encoding and size: ours and bare, in microseconds a record."""
    rows = []
    for count in (1, 6, 100, 2_000):
        items = pack_of(count)
        for name, payload, parse in (
            ("JSON", json.dumps(items).encode(), msgspec.json.decode),
            ("CBOR", in_cbor(items), cbor2.loads),
        ):
            pack = decode(payload, None, NOW_S)
            assert len(pack.records) == count
            assert pack.faults == []
            ours_s = seconds(lambda: decode(payload, None, NOW_S), seconds_at_least)  # noqa: B023
            bare_s = seconds(lambda: parse(payload), seconds_at_least)  # noqa: B023
            rows.append((name, count, ours_s / count * 1e6, bare_s / count * 1e6))
    return rows


def main():
    print(
        f"{'':6}{'records':>8}{'decode':>12}{'bare parse':>12}{'ratio':>8}   microseconds a record"
    )
    for name, count, ours_us, bare_us in measure():
        print(f"{name:6}{count:8d}{ours_us:12.2f}{bare_us:12.2f}{ours_us / bare_us:8.1f}")


if __name__ == "__main__":
    main()
