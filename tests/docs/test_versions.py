"""The lowest versions that we allow are those that `tests/run --lowest` installs."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.version import Version

TREE = Path(__file__).parents[2]
PROJECT = tomllib.loads((TREE / "pyproject.toml").read_text("utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"].values()
NAMED = [*PROJECT["dependencies"], *(one for extra in EXTRAS for one in extra)]
PINS = dict(re.findall(r"(?m)^([\w-]+)==(\S+)$", (TREE / "tests/lowest.txt").read_text("utf-8")))


@pytest.mark.parametrize("wanted", [one for one in NAMED if not one.startswith("hivewatch[")])
def test_what_is_allowed_is_what_is_tried(wanted):
    name, _, lowest = wanted.partition(">=")
    assert Version(PINS[name]) == Version(lowest)
