"""Bytes of a message to the items of a SenML pack: JSON or CBOR, within bounds, nothing more.

What the items mean is the business of `senml`. Paragraph numbers are those of RFC 8428.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping

import cbor2
import msgspec

from hivewatch.wire.refusals import PackError

MAX_PAYLOAD_BYTES = 1_048_576  # own choice: ten thousand records with room to spare
# Own choice: ten thousand records of 25 bytes. Labels can be made that collide in a Python dict,
# and then time grows with the square of their number: 2 s for a tenth of a megabyte of them.
MAX_CBOR_BYTES = 262_144
MAX_RECORDS = 10_000  # own choice: a month of six quantities, one an hour, twice over
MAX_CBOR_DEPTH = 8  # own choice: pack, record, tag and its pair make four

_JSON_TYPES = frozenset({"application/senml+json", "application/sensml+json", "application/json"})
_CBOR_TYPES = frozenset({"application/senml+cbor", "application/sensml+cbor", "application/cbor"})

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_SELF_DESCRIBED_CBOR = b"\xd9\xd9\xf7"  # tag 55799, RFC 8949 section 3.4.6
_FIRST_CBOR_ARRAY, _LAST_CBOR_ARRAY = 0x80, 0x9F  # major type 4, RFC 8949 section 3.1

# CBOR stands numbers for the labels; the table is conclusive (section 6, table 4).
CBOR_LABELS: Mapping[int, str | int] = {
    -6: "bs",
    -5: "bv",
    -4: "bu",
    -3: "bt",
    -2: "bn",
    -1: "bver",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}


class ForeignTag:
    """Stands where the CBOR had a tag that SenML does not use."""


_FOREIGN_TAG = ForeignTag()


def items_of(payload: bytes, content_type: str | None) -> list[object]:
    """Give the items of the array that a pack is, each as sent, CBOR labels by their names.

    The content type decides between JSON and CBOR when it is one of SenML's, whatever its case
    and parameters; else the first byte does.

    Raises
    ------
    PackError
        If there is no such array in the payload, or too much of it.
    """
    is_cbor = _is_cbor(payload, content_type)
    most = MAX_CBOR_BYTES if is_cbor else MAX_PAYLOAD_BYTES
    if len(payload) > most:
        raise PackError("too large", f"{len(payload)} bytes; at most {most}")
    items = _cbor_items(payload) if is_cbor else _json_items(payload)
    if type(items) is not list:
        raise PackError("malformed", "not an array of records")
    if not items:
        raise PackError("malformed", "an array without records")
    if len(items) > MAX_RECORDS:
        raise PackError("too large", f"{len(items)} records; at most {MAX_RECORDS} a pack")
    if is_cbor:
        return [_with_names(item) if type(item) is dict else item for item in items]
    return items


def _is_cbor(payload: bytes, content_type: str | None) -> bool:
    if content_type is not None:
        plain = content_type.partition(";")[0].strip().lower()
        if plain in _CBOR_TYPES:
            return True
        if plain in _JSON_TYPES:
            return False
    if payload.startswith(_SELF_DESCRIBED_CBOR):
        return True
    return payload != b"" and _FIRST_CBOR_ARRAY <= payload[0] <= _LAST_CBOR_ARRAY


_decode_json = msgspec.json.Decoder().decode


def _json_items(payload: bytes) -> object:
    try:
        items = _decode_json(payload.removeprefix(_BYTE_ORDER_MARK))
    except (ValueError, RecursionError) as error:
        said = str(error).removeprefix("JSON is malformed: ")
        raise PackError("malformed", f"JSON: {said}") from error
    if isinstance(items, list) and (
        payload.count(b'"v"') > len(items) or payload.count(b'"n"') > len(items)
    ):
        _refuse_repeated_labels(payload)
    return items


def _refuse_repeated_labels(payload: bytes) -> None:
    """Refuse a pack that says `n` or `v` more often than it has records, if it does in earnest.

    Two measurements written into one JSON object are a likely mistake of a device, and JSON
    readers keep the last without a word (RFC 8259 section 4): one of the two would be lost.
    """

    def no_repeats(pairs: list[tuple[str, object]]) -> dict[str, object]:
        fields = dict(pairs)
        if len(fields) < len(pairs):
            raise PackError("malformed", "JSON: a label stands twice in one record")
        return fields

    try:
        json.loads(payload.removeprefix(_BYTE_ORDER_MARK), object_pairs_hook=no_repeats)
    except (ValueError, RecursionError) as error:
        raise PackError("malformed", f"JSON: {error}") from error


def _decimal_fraction(pair: object, immutable: object) -> object:  # noqa: ARG001 (cbor2's form)
    """Read tag 4, the one tag of SenML (section 6): exponent and mantissa, base ten."""
    if isinstance(pair, list | tuple) and [type(part) for part in pair] == [int, int]:
        return float(f"{pair[1]}e{pair[0]}")
    return _FOREIGN_TAG


def _foreign_tag(value: object, immutable: object) -> object:  # noqa: ARG001 (cbor2's form)
    return _FOREIGN_TAG


# Every tag that cbor2 would turn into something: big numbers, dates, expressions, shared and
# cyclic items, sets and addresses. A big number in a decimal fraction takes it many seconds.
_CBOR2_TAGS = (0, 1, 2, 3, 5, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261)
_CBOR2_RARE_TAGS = (1004, 43000, 55799)
_TAG_READERS = {
    **dict.fromkeys(_CBOR2_TAGS + _CBOR2_RARE_TAGS, _foreign_tag),
    4: _decimal_fraction,
}


def _cbor_items(payload: bytes) -> object:
    stream = io.BytesIO(payload.removeprefix(_SELF_DESCRIBED_CBOR))
    try:
        items = cbor2.CBORDecoder(
            stream,
            tag_hook=_foreign_tag,
            semantic_decoders=_TAG_READERS,
            max_depth=MAX_CBOR_DEPTH,
            allow_duplicate_keys=False,
        ).decode()
    except Exception as error:  # whatever foreign bytes break in there is the bytes' fault
        raise PackError("malformed", f"CBOR: {error}") from error
    if stream.read(1):
        raise PackError("malformed", "CBOR: more bytes after the pack")
    return items


def _with_names(record: dict[object, object]) -> dict[object, object]:
    fields = {
        CBOR_LABELS.get(label, label) if type(label) is int else label: value
        for label, value in record.items()
    }
    if len(fields) < len(record):
        raise PackError("malformed", "CBOR: a label stands twice in one record")
    return fields
