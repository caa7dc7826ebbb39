"""A command loads what it needs, and nothing that is slow to load and not asked for."""

from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    ("modules", "unasked"),
    [
        ("hivewatch.cli", {"numpy", "pandas", "pydantic", "rich", "sqlalchemy"}),
        ("hivewatch.cli, hivewatch.replay, hivewatch.show", {"apprise", "matplotlib", "pandas"}),
    ],
)
def test_what_a_command_does_not_need_is_not_loaded(modules: str, unasked: set[str]) -> None:
    told = subprocess.run(
        [sys.executable, "-c", f"import sys, {modules}; print(*sys.modules)"],
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert not unasked & set(told.stdout.split())
