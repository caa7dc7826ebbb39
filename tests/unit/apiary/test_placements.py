"""Who stands where and when: a device moves, is put away, and comes back."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from hivewatch.apiary import Placement, Span, placed_spans, stands

MOVES = (
    Placement("scale", "b", 300),
    Placement("scale", "a", 100),
    Placement("nest", "a", 150),
    Placement("scale", None, 500),
    Placement("scale", "a", 700),
)


def test_a_device_stands_where_it_was_last_put() -> None:
    seen = {t: stands(MOVES, "scale", t) for t in (99, 100, 299, 300, 500, 699, 700, 10**10)}
    assert seen == {
        99: None,
        100: "a",
        299: "a",
        300: "b",
        500: None,
        699: None,
        700: "a",
        10**10: "a",
    }
    assert stands(MOVES, "unheard-of", 200) is None


def test_a_hive_knows_its_devices_and_their_times() -> None:
    assert placed_spans(MOVES, "a") == [
        Span("scale", 100, 300),
        Span("nest", 150, None),
        Span("scale", 700, None),
    ]
    assert placed_spans(MOVES, "b") == [("scale", 300, 500)]
    assert placed_spans(MOVES, "c") == []


def test_told_again_at_the_same_hive_is_one_span() -> None:
    again = (Placement("scale", "a", 1), Placement("scale", "a", 2), Placement("scale", "b", 3))
    assert placed_spans(again, "a") == [("scale", 1, 3)]


placements = st.lists(
    st.builds(
        Placement,
        st.sampled_from(["x", "y"]),
        st.sampled_from(["a", "b", None]),
        st.integers(0, 20),
    ),
    unique_by=lambda p: (p.device, p.since_s),
    max_size=8,
)


@given(placements, st.integers(-1, 22))
def test_spans_and_standing_say_the_same(placed: Sequence[Placement], time_s: int) -> None:
    for device in ("x", "y"):
        in_spans = [
            hive
            for hive in ("a", "b")
            for span in placed_spans(placed, hive)
            if span.device == device
            and span.from_s <= time_s
            and (span.until_s is None or time_s < span.until_s)
        ]
        standing = stands(placed, device, time_s)
        assert in_spans == ([standing] if standing else [])
