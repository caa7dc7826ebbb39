"""Each file in tests/data/settings-bad/ holds a mistake, its first lines what is said of it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from hivewatch.errors import SeveralErrors, UsageError
from hivewatch.settings import load

BAD = Path(__file__).parents[2] / "data" / "settings-bad"
FILES = sorted(BAD.glob("*.toml"))
SECRETS = ("swordfish", "sword@fish", "k3y")


def expected_lines(text: str) -> list[str]:
    lines = []
    for line in text.splitlines():
        if not line.startswith("# "):
            break
        lines.append(line.removeprefix("# "))
    return lines


def test_there_are_files() -> None:
    assert len(FILES) > 50


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_mistake_is_told_in_full(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for beside in (BAD / "beside").iterdir():
        shutil.copy(beside, tmp_path)
    shutil.copy(file, tmp_path / "hivewatch.toml")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SeveralErrors) as caught:
        load(Path("hivewatch.toml"), {})
    assert str(caught.value).split("\n") == expected_lines(
        file.read_bytes().decode(errors="replace")
    )
    assert all(isinstance(error, UsageError) for error in caught.value.errors)
    assert not any(secret in str(caught.value) for secret in SECRETS)


def said_of(path: Path | None, environ: dict[str, str]) -> list[str]:
    with pytest.raises(SeveralErrors) as caught:
        load(path, environ)
    return str(caught.value).split("\n")


def test_a_file_that_was_asked_for_and_is_missing_is_an_error(tmp_path: Path) -> None:
    gone = tmp_path / "gone.toml"
    assert said_of(gone, {}) == [
        (
            f"{gone}: no such file; give --config the path of a settings file, "
            "or leave it out to use the defaults"
        )
    ]


def test_a_folder_is_no_settings_file(tmp_path: Path) -> None:
    assert said_of(tmp_path, {}) == [
        f"{tmp_path}: cannot be read (Is a directory); let the user who runs hivewatch read it"
    ]


def test_a_file_nested_too_deeply_is_told(tmp_path: Path) -> None:
    file = tmp_path / "hivewatch.toml"
    file.write_text("[api]\nport = " + "[" * 100_000)
    assert said_of(file, {}) == [f"{file}: nested too deeply; take the inner brackets away"]


def test_a_number_of_very_many_digits_is_told(tmp_path: Path) -> None:
    file = tmp_path / "hivewatch.toml"
    file.write_text("[api]\nport = " + "9" * 4000)
    assert said_of(file, {}) == [
        (
            f"{file}: [api] port = a number of very many digits: out of range; "
            "use a whole number from 1 to 65535"
        )
    ]
    file.write_text("[api]\nport = " + "9" * 5000)
    (line,) = said_of(file, {})
    assert line.startswith(f"{file}: not TOML (")


def test_a_long_value_is_cut(tmp_path: Path) -> None:
    file = tmp_path / "hivewatch.toml"
    file.write_text(f'[api]\nhost = "{"a" * 10_000}"')
    (line,) = said_of(file, {})
    assert len(line) < 300 + len(str(file))
    assert "aaa…: reaches beyond this machine" in line


def test_a_broken_file_and_a_wrong_variable_are_told_together(tmp_path: Path) -> None:
    file = tmp_path / "hivewatch.toml"
    file.write_text("[api\n")
    lines = said_of(file, {"HIVEWATCH_API__PRT": "1"})
    assert lines[0].startswith(f"{file}: line 1, column 5: not TOML (")
    assert lines[1] == (
        "environment: HIVEWATCH_API__PRT: no such setting; did you mean HIVEWATCH_API__PORT?"
    )
