"""What the documents name exists, and what exists is named."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
import typer.main

from hivewatch import metrics
from hivewatch.cli import app
from hivewatch.detect.finding import KINDS
from hivewatch.wire.quantities import QUANTITIES, units_of

TREE = Path(__file__).parents[2]
README = (TREE / "README.md").read_text("utf-8")
DEVELOPERS = (TREE / "DEVELOPERS.md").read_text("utf-8")


def commands() -> set[str]:
    """Every command, with its group before it."""
    found = set()
    for name, command in typer.main.get_command(app).commands.items():
        parts = getattr(command, "commands", None)
        found |= {f"{name} {part}" for part in parts} if parts else {name}
    return found


def options(words: str) -> set[str]:
    command = typer.main.get_command(app)
    for word in words.split():
        command = command.commands[word]
    return {option for parameter in command.params for option in parameter.opts}


def commands_of_the_readme() -> set[str]:
    table = README.partition("## Commands")[2].partition("\n## ")[0]
    found = set()
    for row in re.findall(r"^\| (`hivewatch [^|]*)\|", table, re.MULTILINE):
        group = ""
        for name in re.findall(r"`([^`]+)`", row):
            words = name.removeprefix("hivewatch ").split()
            group = words[0] if len(words) > 1 else group
            found.add(
                " ".join(words)
                if len(words) > 1 or words[0] in commands()
                else f"{group} {words[0]}"
            )
    return found


def test_the_readme_lists_every_command_and_no_other() -> None:
    assert commands_of_the_readme() == commands()


def test_every_command_in_the_documents_exists_with_its_options() -> None:
    for text in (README, DEVELOPERS):
        for line in re.findall(r"hivewatch ((?:[a-z]+ ?)+(?: ?--?[a-z-]+)?)", text):
            words = line.split()
            for count in (2, 1):
                name = " ".join(words[:count])
                if name in commands():
                    rest = [word for word in words[count:] if word.startswith("--")]
                    assert set(rest) <= options(name), line
                    break


def test_every_command_takes_a_config() -> None:
    for name in commands():
        assert "--config" in options(name), name


def test_the_readme_lists_every_quantity_with_its_units_and_range() -> None:
    section = README.partition("### What a device sends")[2]
    rows = {
        name: [cell.strip() for cell in row.split("|")[1:-1]]
        for row in re.findall(r"^\| `.*\|$", section.partition("\n### ")[0], re.MULTILINE)
        for name in re.findall(r"`([a-z-]+)`", row.split("|")[1])
    }
    sent = {one.name: one for one in QUANTITIES.values() if one.kind != "total"}
    sent.pop("battery-level")  # sent as `battery` in %EL
    assert rows.keys() == sent.keys()
    for name, one in sent.items():
        assert one.unit in rows[name][1], name
        assert set(re.findall(r"[%A-Za-z]+", rows[name][1].replace("or", ""))) <= {
            *units_of(name),
            "%EL",
        }
        low, high = rows[name][3].split(",  ")[0].split(", 0 ..")[0].split(" .. ")
        assert (float(low), float(high.replace(",", ""))) == (one.low, one.high), name


def test_the_readme_lists_every_kind_of_finding_and_no_other() -> None:
    section = README.partition("## What it says so far")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| (`[^|]*)\|", section, re.MULTILINE)
    assert {name for row in rows for name in re.findall(r"`([a-z_]+)`", row)} == set(KINDS)


def test_the_contributor_guide_lists_every_metric_and_no_other() -> None:
    section = DEVELOPERS.partition("## Metrics")[2]
    assert set(re.findall(r"^\| `(\w+)`", section, re.MULTILINE)) == set(metrics.DOCUMENTED)


def test_the_contributor_guide_has_a_line_for_every_file_and_no_other() -> None:
    section = DEVELOPERS.partition("## One line a file")[2].partition("\n## ")[0]
    listed, folder = set(), ""
    for name in re.findall(r"^\| (?:\*\*|`)([^*`]+)(?:\*\*|`) \|", section, re.MULTILINE):
        if name.endswith("/"):
            folder = name
        else:
            listed.add(folder + name)
    there = {
        str(path.relative_to(TREE))
        for room in ("hivewatch", "simulators")
        for path in (TREE / room).rglob("*.py")
        if path.name != "__init__.py" and "migrations" not in path.parts
    }
    assert listed == there


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_file_that_a_document_points_to_is_there(text: str) -> None:
    for name in re.findall(r"\]\(([^)#]+)\)", text):
        assert (TREE / name).exists(), name
    for name in re.findall(r"`((?:deploy|tests|dashboards|simulators|\.ci)/[\w./-]*)`", text):
        assert (TREE / name).exists(), name
    for name in re.findall(r"`((?:[a-z_]+/)?[a-z_]+\.py)`", text.partition("## One line")[0]):
        assert (TREE / "hivewatch" / name).exists() or (TREE / name).exists(), name


def test_no_file_of_the_program_is_long() -> None:
    tracked = subprocess.run(
        ["git", "ls-files", "*.py", "*.js"], cwd=TREE, capture_output=True, text=True, check=True
    ).stdout.split()
    for name in tracked:
        if name.startswith(("hivewatch/", "simulators/")) and (TREE / name).exists():
            assert len((TREE / name).read_text("utf-8").splitlines()) <= 320, name
