"""Areas and cuts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.polygon import cut, signed_area, strips, within

RINGS = st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=3, max_size=12)
AXES = st.sampled_from([0, 1])


def test_the_area_of_a_square_has_the_sign_of_its_turn() -> None:
    square = [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)]
    assert signed_area(square) == 4
    assert signed_area(square[::-1]) == -4
    assert signed_area([]) == 0


@given(RINGS, AXES, st.floats(-60, 60))
def test_both_sides_of_a_cut_have_the_whole_area(ring: list[tuple[float, float]], axis: int, at: float) -> None:
    parts = signed_area(cut(ring, axis, at, True)) + signed_area(cut(ring, axis, at, False))
    assert parts == pytest.approx(signed_area(ring), abs=1e-6)


@given(RINGS, AXES, st.floats(-60, 60), st.booleans())
def test_a_cut_keeps_its_side(ring: list[tuple[float, float]], axis: int, at: float, above: bool) -> None:
    for point in cut(ring, axis, at, above):
        assert point[axis] >= at if above else point[axis] <= at


@given(RINGS, AXES, st.floats(1, 20))
def test_strips_have_the_whole_area(ring: list[tuple[float, float]], axis: int, width: float) -> None:
    parts = list(strips(ring, axis, width))
    assert sum(signed_area(part) for _, part in parts) == pytest.approx(signed_area(ring), abs=1e-6)
    for number, part in parts:
        assert all(number * width - 1e-9 <= point[axis] <= (number + 1) * width + 1e-9 for point in part)


def test_within_a_box() -> None:
    diamond = [(2.0, 0.0), (4.0, 2.0), (2.0, 4.0), (0.0, 2.0)]
    assert signed_area(within(diamond, 1, 1, 3, 3)) == pytest.approx(4)
    assert within(diamond, 5, 5, 6, 6) == []
