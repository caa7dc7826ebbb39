"""The forms that what somebody saw can have, each with its bounds and the words for them."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, PlainSerializer

from hivewatch.mistakes import Allowed, WrongValueError
from hivewatch.moments import read_moment, written

# Upper bounds, own choice: a queen at 3,000 eggs a day (from memory, above any in the literature)
# fills 9,000 cells with eggs, 18,000 with larvae and 36,000 with pupae (3, 6 and 12 days); more
# than twice that is a slip of the pen.
EGGS_MAX, OPEN_MAX, CAPPED_MAX = 20_000, 40_000, 80_000  # [cells]
ADULTS_MAX = 150_000  # [bees] own choice: twice a very strong colony
KG_MAX = 300  # [kg] the believable range of a scale
SIDES_MAX = 400  # [sides] own choice: ten boxes of twenty frames


def _check_text(text: str) -> str:
    if any(not c.isprintable() and c not in "\n\r\t" for c in text):
        raise WrongValueError("has a character that does not print")
    return text


def _as_tuple(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def _words(words: str) -> Allowed:
    return Allowed("one of " + ", ".join(f'"{word}"' for word in words.split(", ")))


HiveId = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,64}$"), Allowed("1 to 64 of a-z 0-9 -")]
At = Annotated[
    datetime,
    BeforeValidator(read_moment),
    PlainSerializer(written, return_type=str),
    Allowed('a time such as "2026-05-02T14:10:00+01:00"'),
]
Eggs = Annotated[int, Field(ge=0, le=EGGS_MAX), Allowed(f"a whole number from 0 to {EGGS_MAX}")]
Open = Annotated[int, Field(ge=0, le=OPEN_MAX), Allowed(f"a whole number from 0 to {OPEN_MAX}")]
Capped = Annotated[
    int, Field(ge=0, le=CAPPED_MAX), Allowed(f"a whole number from 0 to {CAPPED_MAX}")
]
Adults = Annotated[
    int, Field(ge=0, le=ADULTS_MAX), Allowed(f"a whole number from 0 to {ADULTS_MAX}")
]
QueenCellCount = Annotated[int, Field(ge=0, le=500), Allowed("a whole number from 0 to 500")]
FrameNumber = Annotated[int, Field(ge=1, le=200), Allowed("a whole number from 1 to 200")]
Share = Annotated[
    float, Field(ge=0, le=1, allow_inf_nan=False), Allowed("a share of the side from 0 to 1")
]
Kg = Annotated[
    float, Field(ge=0, le=KG_MAX, allow_inf_nan=False), Allowed(f"kg from 0 to {KG_MAX}")
]
Identity = Annotated[
    str, Field(pattern=r"^[0-9a-zA-Z-]{1,64}$"), Allowed("1 to 64 letters, digits or -")
]
Person = Annotated[
    str,
    Field(min_length=1, max_length=100),
    AfterValidator(_check_text),
    Allowed("1 to 100 characters"),
]
Note = Annotated[
    str, Field(max_length=5000), AfterValidator(_check_text), Allowed("up to 5000 characters")
]
Why = Annotated[
    str,
    Field(min_length=1, max_length=500),
    AfterValidator(_check_text),
    Allowed("1 to 500 characters"),
]
Key = Annotated[
    str, Field(pattern=r"^[!-~]{1,64}$"), Allowed("1 to 64 printable ASCII characters, no space")
]
Many = BeforeValidator(_as_tuple)
FaceOfFrame = Annotated[Literal["a", "b"], _words("a, b")]
Queen = Annotated[
    Literal["seen", "eggs seen", "not seen", "absent", "virgin", "new"],
    _words("seen, eggs seen, not seen, absent, virgin, new"),
]
CellStage = Annotated[
    Literal["cups", "eggs", "open", "capped", "emerged"],
    _words("cups, eggs, open, capped, emerged"),
]
What = Annotated[
    Literal[
        "super added",
        "super removed",
        "fed",
        "harvested",
        "requeened",
        "queen caged",
        "split",
        "united",
        "treated",
        "moved",
        "given away",
        "other",
    ],
    _words(
        "super added, super removed, fed, harvested, requeened, queen caged, split, united, "
        "treated, moved, given away, other"
    ),
]
