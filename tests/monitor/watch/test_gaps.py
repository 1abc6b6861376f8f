"""What a source lost: gaps in its numbers, whatever the order in which they come."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.watch.gaps import Gaps


def counted(*numbers: int, run: str = "a") -> tuple[int, int]:
    gaps = Gaps()
    for number in numbers:
        gaps.note("decoder", run, number)
    found = gaps.counts()["decoder"]
    return found.received, found.lost


def test_a_gap_is_lost() -> None:
    assert counted(1, 2, 5, 6) == (4, 2)


def test_a_new_run_is_no_gap() -> None:
    gaps = Gaps()
    gaps.note("decoder", "a", 7)
    gaps.note("decoder", "b", 100)
    assert (gaps.counts()["decoder"].received, gaps.counts()["decoder"].lost) == (2, 0)


def test_a_sender_that_renumbers_lost_nothing() -> None:
    assert counted(1, 2**53) == (2, 0)


@given(st.permutations(range(1, 30)), st.sets(st.integers(2, 28)))
def test_order_and_doubles_do_not_matter(order: list[int], missing: set[int]) -> None:
    came = [1, *(number for number in order if number not in missing and number != 1)]
    received, lost = counted(*came, *came)
    assert (received, lost) == (len(came), len(missing))


def test_memory_is_bounded() -> None:
    gaps = Gaps()
    for number in range(200):
        gaps.note(f"source {number}", None, 1)
    assert len(gaps.counts()) == 64
