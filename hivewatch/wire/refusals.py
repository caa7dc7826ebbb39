"""Why a message, or a record of it, is refused, and in which words.

Details are for the keeper's eyes: short, plain characters, whatever a device sent.
"""

from __future__ import annotations

REASONS: tuple[str, ...] = (
    "too large",  # the payload, or the number of records in it
    "malformed",  # neither a JSON nor a CBOR array of records
    "version",  # a version we do not know, or two in one pack
    "must understand",  # a field ending in `_`
    "field",  # a field of the wrong type, or a record that is no object
    "name",  # no name, or characters a name may not have
    "quantity",  # a name that ends in nothing we know
    "unit",  # a unit the quantity does not come in
    "value",  # none, several, or not a number
    "sum",  # a running total of something that is not counted
    "out of range",  # not believable
    "clock",  # a time ahead of now by over a day, or before all hives watched
)
"""Why a record or a pack is refused: the closed set of reasons."""

_QUOTED_MAX, _DETAIL_MAX = 40, 200  # own choice: a line on a page
_LONG_NUMBER = 2**64


class PackError(Exception):
    """A pack that cannot be used at all: one of the reasons, and what was seen."""

    def __init__(self, reason: str, detail: str) -> None:
        """Keep reason and detail apart: one is counted, the other is read."""
        super().__init__(reason, detail)
        self.reason, self.detail = reason, detail


class WrongRecord(Exception):  # noqa: N818 (no error of ours: a finding about a record)
    """A record that cannot be used, while the others of its pack may."""

    def __init__(self, reason: str, detail: str) -> None:
        """Keep reason and detail apart: one is counted, the other is read."""
        super().__init__(reason, detail)
        self.reason, self.detail = reason, detail


def show(said: object) -> str:
    """Quote something from outside, short and in plain characters."""
    if isinstance(said, str):
        return ascii(said if len(said) <= _QUOTED_MAX else said[:_QUOTED_MAX] + "...")
    if isinstance(said, int) and abs(said) > _LONG_NUMBER:
        return "a very long number"
    if said is None or isinstance(said, bool | int | float):
        return str(said)
    if isinstance(said, dict | list):
        return "an object" if isinstance(said, dict) else "a list"
    return "neither text nor number"


def brief(detail: str) -> str:
    """Shorten what a library says of the bytes, which it may quote at length."""
    return ascii(detail[:_DETAIL_MAX])[1:-1]
