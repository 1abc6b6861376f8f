"""Interference: offsets that hold energy but never decode, told from stations, collisions and a clock that is off."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.testing import Bench
from watchkeeper.view import Gauges, Reading, Urgency
from watchkeeper_vitals import Vitals
from watchkeeper_vitals.interference import Jammed

TEXTS = tuple(f"CQ W{number}QSB FN42" for number in range(1, 5))
OFFSETS_HZ = (400.0, 900.0, 1600.0, 2200.0)
STATIONS = tuple((offset_hz, offset_hz + 50) for offset_hz in OFFSETS_HZ)


def reading(bench: Bench) -> Reading:
    view = bench.view("vitals.station", Gauges)
    return next(one for one in view.readings if one.key == "interference")


def listen(bench: Bench, periods: int, occupied: Sequence[tuple[float, float]], offsets: Sequence[float]) -> None:
    for _ in range(periods):
        for text, offset_hz in zip(TEXTS, offsets, strict=False):
            bench.hear(text, offset_hz=offset_hz)
        bench.close(occupied=tuple(occupied))


def test_a_stretch_that_never_decodes_is_told_once_and_clears_itself() -> None:
    bench = Bench(Vitals)
    listen(bench, 7, (*STATIONS, (1180.0, 1300.0)), OFFSETS_HZ)
    assert not bench.hails
    listen(bench, 5, (*STATIONS, (1180.0, 1300.0)), OFFSETS_HZ)
    (hail,) = bench.hails
    assert hail.key == "vitals|interference"
    assert hail.urgency is Urgency.WANTED
    assert hail.sentence.startswith("Interference: 1180–1300 Hz holds energy in period after period that never decodes")
    assert reading(bench).text == "1180–1300 Hz is jammed"
    listen(bench, 8, STATIONS, OFFSETS_HZ)
    assert reading(bench).text == "none seen"
    assert len(bench.hails) == 1


def test_a_narrow_one_is_a_note_but_not_where_you_send() -> None:
    bench = Bench(Vitals)
    listen(bench, 9, (*STATIONS, (1240.0, 1260.0)), OFFSETS_HZ)
    assert reading(bench).urgency is Urgency.NOTE
    bench.tune(send_offset_hz=1250)
    listen(bench, 1, (*STATIONS, (1240.0, 1260.0)), OFFSETS_HZ)
    assert reading(bench).urgency is Urgency.WANTED
    assert "you send there" in str(reading(bench).sentence)


def test_stations_that_decode_now_and_then_are_none() -> None:
    bench = Bench(Vitals)
    for number in range(30):
        heard = OFFSETS_HZ if number % 6 == 0 else OFFSETS_HZ[:3]
        listen(bench, 1, STATIONS, heard)
    assert not bench.hails


def test_a_strong_station_that_comes_through_now_and_then_hides_no_wide_stretch() -> None:
    bench = Bench(Vitals)
    for number in range(12):
        heard = (*OFFSETS_HZ[:3], 1220.0 if number % 3 == 0 else OFFSETS_HZ[3])
        listen(bench, 1, (*STATIONS, (1180.0, 1300.0)), heard)
    assert reading(bench).text == "1180–1300 Hz is jammed"


def test_a_stretch_full_of_stations_that_decode_is_none() -> None:
    bench = Bench(Vitals)
    for number in range(24):
        near = 1180.0 + 10 * (number % 7)
        listen(bench, 1, (*STATIONS[:2], (near, near + 110)), (*OFFSETS_HZ[:2], near, near + 60))
    assert not bench.hails


def test_a_band_on_which_nothing_decodes_is_none() -> None:
    """The clock or the mode is off: that is another vital's matter."""
    bench = Bench(Vitals)
    listen(bench, 12, STATIONS, ())
    assert "vitals|interference" not in {hail.key for hail in bench.hails}


def test_without_markers_that_tell_it_is_not_known() -> None:
    bench = Bench(Vitals)
    bench.period(*TEXTS)
    assert reading(bench).text == "not told"


@given(st.lists(st.tuples(st.integers(0, 290), st.integers(1, 60)), max_size=20))
def test_what_is_jammed_is_what_was_occupied_without_a_decode(pairs: list[tuple[int, int]]) -> None:
    bench = Bench()
    hearings = [bench.hear(text, offset_hz=6000.0 + 100 * number)[0] for number, text in enumerate(TEXTS)]
    occupied = [(low * 10.0, (low + wide) * 10.0) for low, wide in pairs]
    jammed = Jammed()
    for _ in range(8):
        assert not jammed.stretches
        jammed.take(occupied, hearings, 50.0)
    steps = {step for low, wide in pairs for step in range(low, low + wide)}
    found = jammed.stretches
    assert {step for low, high in found for step in range(int(low // 10), int(high // 10))} == steps
    assert found == sorted(found)
    assert all(one[1] < other[0] for one, other in pairwise(found))
