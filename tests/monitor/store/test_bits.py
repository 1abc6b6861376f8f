"""Sets of small numbers by text: the compact table against plain dicts and sets."""

from __future__ import annotations

import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.store.bits import BitTable, numbers

texts = st.one_of(
    st.text("ABCXYZ0189/", min_size=1, max_size=6),  # close together: they meet often
    st.text(st.characters(codec="utf-8"), min_size=1, max_size=14),
)
steps = st.lists(st.one_of(st.tuples(texts, st.integers(0, 200)), st.just("pack"), st.just("dump")), max_size=60)


@given(steps)
def test_it_holds_what_was_added_whatever_happens_between(done: list[tuple[str, int] | str]) -> None:
    table = BitTable()
    model: dict[str, set[int]] = {}
    for step in done:
        if isinstance(step, tuple):
            text, number = step
            table.add(text, 1 << number)
            model.setdefault(text, set()).add(number)
        elif step == "pack":
            table.pack()
        else:
            table = BitTable.load(table.dump())
    assert {text: set(numbers(table.get(text))) for text in model} == model
    assert len(table) == len(model)
    assert table.get("NEVER") == 0


@pytest.mark.parametrize("call", ["0AB", "A", "W1QSB/P", "w1qsb", "W1QSBW1QSBW1QSB", "Ä", "١", "12", "", "A B"])
def test_texts_that_are_no_plain_call_are_kept_apart(call: str) -> None:
    table = BitTable()
    for other in ("AB", "W1QSB", "12A"):
        table.add(other, 1)
    table.pack()
    assert table.get(call) == 0
    table.add(call, 2)
    table.pack()
    assert table.get(call) == 2
    assert table.get("W1QSB") == 1


def test_many_calls_need_little_memory() -> None:
    """A dict of them would hold about 150 bytes a call."""
    tracemalloc.start()
    table = BitTable()
    for number in range(20_000):
        table.add(
            f"DL{number % 10}{chr(65 + number // 10 % 26)}{chr(65 + number // 260 % 26)}{number // 6760}Q",
            1 << number % 60,
        )
    table.pack()
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(table) == 20_000
    assert kept / len(table) < 25
