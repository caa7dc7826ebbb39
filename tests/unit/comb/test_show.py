"""The reading in words, as JSON, in a terminal."""

from __future__ import annotations

import json

import pytest

from hivewatch.comb import CombCount, count_sides, describe, draw_bars, read_comb, to_dict, to_text
from hivewatch.comb.words import about, look_again_days
from hivewatch.frames import FRAMES

CASES = [
    (3900, 7600, 15100),
    (4500, 6000, 6000),
    (1200, 6000, 18000),
    (0, 2000, 18000),
    (0, 0, 15000),
    (0, 0, 0),
    (3000, 0, 0),
    (4000, 0, 15000),
    (None, 0, 15000),
    (None, None, 12000),
    (4500, 9000, 40000),
]


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (0, "0"),
        (7.4, "7"),
        (47, "45"),
        (333, "350"),
        (1549, "1,500"),
        (26149, "26,100"),
    ],
)
def test_numbers_are_said_as_a_keeper_would(cells: float, said: str) -> None:
    assert about(cells) == said


def test_the_json_form_has_the_keys_of_the_contract() -> None:
    said = json.loads(json.dumps(to_dict(read_comb(CombCount(4500, 9000, 18000, survival=1.0)))))
    assert set(said["laying"]) == {"last_3_days", "days_4_to_9", "days_10_to_21"}
    for span in said["laying"].values():
        assert span["low"] < span["median"] == 1500 < span["high"]
    assert said["trend"] == "steady"
    assert said["emerging"] == [1500.0] * 21
    assert said["stopped_between"] is None
    assert said["started_between"] is None
    assert all(sentence.endswith((".", "?")) for sentence in said["reading"])


def test_days_are_lists_in_json() -> None:
    said = to_dict(read_comb(CombCount(0, 5000, 15000)))
    assert said["stopped_between"] == [3, 9]
    assert to_dict(read_comb(CombCount(0, 0, 0)))["stopped_between"] == [21, None]


def test_an_impossible_count_gives_a_question_and_no_numbers() -> None:
    said = to_dict(read_comb(CombCount(4500, 9000, 40000)))
    assert said["laying"] == {
        key: {"low": None, "median": None, "high": None}
        for key in ("last_3_days", "days_4_to_9", "days_10_to_21")
    }
    assert said["emerging"] == []
    assert said["reading"] == [
        (
            "40,000 capped cells would take 3,333 eggs a day for 12 days, and the best queens "
            "lay about 2,000: was a side counted twice, honey counted as brood, or are there two "
            "queens?"
        ),
        "Nothing is read from this count: set it right, or count again.",
    ]


@pytest.mark.parametrize("cells", CASES)
def test_the_terminal_form_is_plain_and_narrow(cells: tuple[float | None, ...]) -> None:
    text = to_text(read_comb(CombCount(*cells)))
    assert text.isascii()
    assert text.isprintable() or "\n" in text
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_bars_stand_in_the_days_of_their_class() -> None:
    chart = draw_bars(read_comb(CombCount(0, 0, 12000))).splitlines()
    full = [line for line in chart if "##" in line]
    assert all(line.count("##") == 12 for line in full)
    assert all(line.split("|")[1].startswith(" ##" * 12) for line in full)
    rising = draw_bars(read_comb(CombCount(4500, 6000, 6000))).splitlines()
    top = next(line for line in rising if "##" in line)
    assert top.endswith("##")
    assert not top.split("|")[1].startswith(" ##")


def test_no_brood_draws_no_chart() -> None:
    assert draw_bars(read_comb(CombCount(0, 0, 0))) == ""


def said(*cells: float | None, **more: float) -> str:
    return " ".join(describe(read_comb(CombCount(*cells, **more))))


def test_a_stop_is_said_with_its_days_and_what_to_look_for() -> None:
    words = said(0, 2000, 18000, survival=1.0)
    assert "stopped laying between 3 and 9 days ago, about 8 days ago if she laid" in words
    assert "queen cells" in words
    assert "in 4 days" in words
    assert "quick to sting" in words


def test_a_gap_names_the_days_with_few_young_bees() -> None:
    assert "Few young bees will emerge from day 13 to day 18" in said(4000, 0, 15000)


def test_a_missing_class_is_said_with_its_cost() -> None:
    words = said(None, 7600, 15100)
    assert "Eggs not counted" in words
    assert "% either way instead of" in words
    assert "Eggs not counted" not in said(3900, 7600, 15100)


def test_larvae_that_are_not_capped_bring_the_caution_on_disease() -> None:
    assert "must be reported" in said(4500, 9000, 3000)
    assert "must be reported" not in said(3900, 7600, 15100)


def test_drones_are_spoken_of_only_when_counted() -> None:
    assert "drones" not in said(3900, 7600, 15100)
    assert "drones" in said(3000, 1000, 200, drone_capped=5000)


def test_a_queen_who_lays_drones_is_looked_at_soon_and_what_then() -> None:
    reading = read_comb(CombCount(3000, 1000, 200, drone_capped=5000))
    assert reading.queen == "drone-laying"
    assert look_again_days(reading) == 4
    assert "within 4 days" in " ".join(describe(reading))
    failing = said(3000, 5000, 12000, drone_capped=9000)
    assert "in 7 days" in failing
    assert "queen cells" in failing


def test_a_rise_that_has_ended_is_not_called_a_fall_of_three_weeks() -> None:
    assert "until a week ago or so, and has come down since" in said(600, 3000, 2100)
    assert "than she did three weeks ago" in said(1200, 6000, 18000)


def test_cells_from_sides_are_shown_with_the_table_they_are_from() -> None:
    deep = FRAMES["langstroth-deep"]
    reading = read_comb(count_sides(deep, 1.0, 2.0, None, drone_capped=0.5))
    told = to_dict(reading)["counted"]
    assert isinstance(told, dict)
    assert (told["eggs"], told["capped"]) == (deep.side_cells, None)
    assert told["source"] == deep.words
    text = to_text(reading)
    assert "drone capped 1,102" in text
    assert "3,484 worker cells to a side of langstroth-deep" in text
    assert "frame" not in to_dict(read_comb(CombCount(3000)))["counted"]  # type: ignore[operator]


def test_a_new_queen_is_looked_at_when_her_first_cells_are_capped() -> None:
    assert look_again_days(read_comb(CombCount(3000, 0, 0))) == 9
    assert look_again_days(read_comb(CombCount(3000, 4000, 0))) == 6


def test_what_was_looked_for_and_not_found_is_named_and_nothing_else() -> None:
    assert "No eggs seen: she has laid nothing for 3 days or more." in said(0)
    assert "No eggs or open brood seen: she has laid nothing for 9 days" in said(0, 0)
    assert "No capped brood seen: she laid nothing 10 to 21 days ago." in said(None, None, 0)
    assert "No open brood or capped brood seen: she laid nothing 4 to 21" in said(None, 0, 0)
    assert "No brood seen" not in said(0) + said(0, 0)


def test_a_queen_who_lays_drones_is_not_praised_for_what_she_lays() -> None:
    for cells in ((600, 200, 150), (600, 0, 0), (0, 0, 0)):
        words = describe(read_comb(CombCount(*cells, drone_open=900, drone_capped=1500)))
        assert words[0].startswith("Nearly all of the brood is drones")
        assert not any(
            wrong in " ".join(words)
            for wrong in ("just begun", "laying more", "room to lay", "in 7 days,", "no brood left")
        )


def test_a_failing_queen_is_not_left_to_the_usual_round() -> None:
    words = said(3000, 6000, 12000, drone_capped=9000)
    assert "she is failing" in words
    assert "before your usual round" not in words


def test_few_eggs_for_much_open_brood_are_nearly_a_stop() -> None:
    assert "She has nearly stopped laying" in said(300, 6000, 17000)
    assert "nearly stopped" not in said(1200, 4000, 14000)


def test_a_handful_of_cells_is_no_sign_of_disease() -> None:
    words = said(10, 15, 5)
    assert "must be reported" not in words
    assert "So few cells are easily miscounted" in words
    assert "So few cells" not in said(900, 1600, 3200)


def test_a_rest_in_winter_is_said_where_no_young_brood_is_left() -> None:
    assert "midwinter a queen rests" in said(0, 0, 250)
    assert "midwinter" not in said(0, 4000, 17000)
