"""The words for each kind of finding: what it is, how urgent, what to do, what to mind."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter
from pydantic import Field

from hivewatch.alerts.phrases import PHRASES, phrase
from hivewatch.alerts.rules import RULES, UNKNOWN, Urgency
from hivewatch.api.forms import Answer

router = APIRouter(tags=["history"])


class Kind(Answer):
    """One kind of finding in words."""

    kind: str
    head: str = Field(description="after the name of a hive, device or yard")
    many: str = Field(description="after a count of them")
    what: str = Field(description="a sentence; `{who}` stands for the hive, device or yard")
    do: str
    take: str
    mind: str = Field(description="the cautions")
    urgency: Urgency
    why: str = Field(description="why so urgent")
    once_over: Literal["tell", "drop"] = Field(
        description="whether it is still to be told when it is over"
    )


class Kinds(Answer):
    """All kinds."""

    items: list[Kind]


@router.get("/kinds")
def kinds() -> Kinds:
    """List the kinds of findings with their words and their urgency."""
    return Kinds(items=[_kind(name) for name in sorted(PHRASES.keys() | RULES.keys())])


def _kind(name: str) -> Kind:
    words, rule = phrase(name), RULES.get(name, UNKNOWN)
    return Kind(
        kind=name,
        head=words.head,
        many=words.many,
        what=words.what,
        do=words.do,
        take=words.take,
        mind=words.mind,
        urgency=rule.urgency,
        why=rule.why,
        once_over=rule.once_over,
    )
