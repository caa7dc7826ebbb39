"""Played seasons that are kept: none is played twice, another model plays anew."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from simulators.score import kept
from simulators.score.play import Order, Season

ORDER = Order("two-flows", days=25, every_min=60.0)


def test_a_kept_season_is_asked_and_not_played(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = kept.play(ORDER, tmp_path)

    def never(_order: Order, _folder: Path) -> Season:
        raise AssertionError("played again")

    monkeypatch.setattr(kept, "prepare", never)
    again = kept.play(ORDER, tmp_path)
    assert again.findings
    assert again.findings == first.findings
    assert again.truth == first.truth


def test_one_that_broke_off_is_played_anew(tmp_path: Path) -> None:
    folder = kept.folder_of(ORDER, tmp_path)
    folder.mkdir()
    (folder / kept.SEASON).write_bytes(b"\x80")
    (folder / "readings.csv").write_text("half", encoding="utf-8")
    season = kept.play(ORDER, tmp_path)
    assert season.findings
    assert "write" in season.took_s


def test_another_order_has_another_folder_and_other_questions_the_same(tmp_path: Path) -> None:
    folder = kept.folder_of(ORDER, tmp_path)
    assert kept.folder_of(replace(ORDER, outlook_days=21, replay_days=3), tmp_path) == folder
    for other in (
        replace(ORDER, seed=5),
        replace(ORDER, every_min=30.0),
        replace(ORDER, without=("nest",)),
        replace(ORDER, first_count=True),
    ):
        assert kept.folder_of(other, tmp_path) != folder
