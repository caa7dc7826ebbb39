"""Packs that are almost right: what each is refused for, beside it in the corpus."""

import pathlib
import tomllib

import pytest

from hivewatch.wire.refusals import REASONS
from hivewatch.wire.senml import decode

CORPUS = pathlib.Path(__file__).parents[2] / "data" / "senml-near-miss"
EXPECTED = tomllib.loads((CORPUS / "expected.toml").read_text(encoding="utf-8"))
NOW_S = 1_779_368_400.0  # 2026-05-21T13:00:00Z


def payload_of(name):
    raw = (CORPUS / name).read_bytes()
    if not name.endswith(".cbor.hex"):
        return raw
    lines = [line.partition("#")[0] for line in raw.decode().splitlines()]
    return bytes.fromhex("".join(lines))


@pytest.mark.parametrize("name", EXPECTED)
def test_a_near_miss_is_refused_for_its_reason(name):
    pack = decode(payload_of(name), None, NOW_S)
    faults = [["pack" if each.index is None else each.index, each.reason] for each in pack.faults]
    assert faults == EXPECTED[name]["faults"]
    assert len(pack.records) == EXPECTED[name]["records"]


@pytest.mark.parametrize("name", EXPECTED)
def test_a_detail_is_short_and_plain(name):
    for fault in decode(payload_of(name), None, NOW_S).faults:
        assert 0 < len(fault.detail) <= 300
        assert fault.detail.isascii()
        assert fault.detail.isprintable()


def test_every_file_has_its_expectation():
    assert {path.name for path in CORPUS.iterdir()} == {*EXPECTED, "expected.toml"}


def test_every_reason_has_a_file():
    met = {reason for each in EXPECTED.values() for _, reason in each["faults"]}
    too_big_to_keep = {"too large"}  # tests/unit/wire/test_payload.py
    assert met | too_big_to_keep == set(REASONS)
