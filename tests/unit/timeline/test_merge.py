"""One order, page by page."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from hivewatch.timeline.merge import WHATS, Entry, page

entries = st.builds(
    Entry, st.integers(0, 5), st.sampled_from(WHATS), st.sampled_from(["a", "b", "c"])
)


@given(st.lists(entries, max_size=30), st.integers(1, 7))
def test_the_pages_together_are_all_of_it_once(every, limit):
    kinds = [[one for one in every if one.what == what] for what in WHATS]
    got: list[Entry] = []
    while True:
        more = page(kinds, limit, got[-1] if got else None)
        if not more:
            break
        assert len(more) <= limit
        got += more
    assert got == sorted(set(every), reverse=True)


@given(st.lists(entries, max_size=30), st.integers(1, 7))
def test_a_page_needs_only_the_first_of_each_kind(every, limit):
    kinds = [sorted({o for o in every if o.what == what}, reverse=True) for what in WHATS]
    assert page(kinds, limit) == page([kind[:limit] for kind in kinds], limit)
