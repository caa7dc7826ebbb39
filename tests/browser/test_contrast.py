"""Text against its ground, by the formula of WCAG 2.2, "relative luminance" and success criteria
1.4.3 (text, 4.5 to 1) and 1.4.11 (lines of a chart, 3 to 1).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from hivewatch.api.operations import pages_folder

TEXT = [
    ("ink", "ground"),
    ("ink", "paper"),
    ("soft", "ground"),
    ("soft", "paper"),
    ("link", "ground"),
    ("link", "paper"),
    ("now", "now-ground"),
    ("today", "today-ground"),
    ("visit", "visit-ground"),
    ("today", "paper"),
    ("paper", "mark"),
    ("paper", "seen"),
    ("paper", "ink"),
]
LINES = [(name, "paper") for name in ("line-1", "line-2", "line-3", "mark", "seen")]


def variables(scheme):
    text = Path(pages_folder() / "style.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", text, re.DOTALL)
    found = dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6});", light))
    return found | (
        dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6});", dark)) if scheme == "dark" else {}
    )


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (
        one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_its_published_bounds():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # WCAG 2.2: from 1 to 21
    assert contrast("#777777", "#777777") == pytest.approx(1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_from_its_ground(scheme):
    known = variables(scheme)
    weak = {pair: contrast(known[pair[0]], known[pair[1]]) for pair in TEXT}
    assert {pair: value for pair, value in weak.items() if value < 4.5} == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_lines_stand_out_from_the_paper(scheme):
    known = variables(scheme)
    weak = {pair: contrast(known[pair[0]], known[pair[1]]) for pair in LINES}
    assert {pair: value for pair, value in weak.items() if value < 3} == {}


def test_paper_is_printed_in_ink_whatever_the_screen_is(here, visit):
    page = visit(f"{here.url}/#/round")
    ink = "getComputedStyle(document.querySelector('h1')).color"
    page.emulate_media(media="print", color_scheme="light")
    on_paper = page.evaluate(ink)
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate(ink) == on_paper
    page.emulate_media(media="screen", color_scheme="dark")
    assert page.evaluate(ink) != on_paper
