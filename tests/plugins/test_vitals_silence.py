"""Deaf or dead: a receiver that hears nothing is told from a band that is closed, and the verdict gives its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from watchkeeper.api import CheckState, Gauge
from watchkeeper.schema.events import Period, from_ms
from watchkeeper.testing import Bench
from watchkeeper.view import Gauges, Reading, Urgency
from watchkeeper_vitals import Vitals

#: the bench begins on 1 May at 18:00 UTC, an hour before sunset at JO62qm
MANY = tuple(f"CQ {prefix}QS{last} FN42" for prefix in ("W1", "K2", "N3") for last in "ABCD")


def receiver(bench: Bench) -> Reading:
    view = bench.view("vitals.station", Gauges)
    return next(one for one in view.readings if one.key == "receiver")


def hailed(bench: Bench) -> list[str]:
    return [hail.key for hail in bench.hails if hail.rule == "vitals"]


def listen(bench: Bench, periods: int, texts: Sequence[str] = (), **fields: Any) -> None:
    for _ in range(periods):
        bench.hear(*texts)
        bench.close(**fields)


def test_on_an_open_band_that_falls_silent_at_once_it_is_the_receiver() -> None:
    bench = Bench(Vitals)
    listen(bench, 12, MANY)
    listen(bench, 7)
    assert not bench.hails
    listen(bench, 1)
    assert hailed(bench) == ["vitals|receiver"]
    assert bench.hails[0].sentence.startswith(
        "Receiver: Nothing decodes for 8 periods, where 12 stations did. It is probably this receiver, not the band: "
        "all 12 stations went at once and 20 m is usually open with the Sun 3° up."
    )
    listen(bench, 1, MANY)
    assert receiver(bench).urgency is Urgency.CALM
    assert hailed(bench) == ["vitals|receiver"]


def test_a_band_that_fades_away_closes() -> None:
    """10 m on a summer night may be either: how the stations went decides."""
    bench = Bench(Vitals, dial_hz=28_074_000)
    bench.skip(4 * 240)
    for count in (12, 12, 12, 12, 10, 8, 6, 4, 3, 2, 2, 1, 1):
        listen(bench, 1, MANY[:count])
    listen(bench, 12)
    assert not bench.hails
    found = receiver(bench)
    assert found.text == "hears, but no station for 12 periods: the band is closed or empty"
    assert found.sentence == (
        "Nothing decodes for 12 periods, where 6 stations did. It is probably the band, not your receiver: "
        "the stations faded one by one."
    )


def test_a_few_stations_that_go_leave_it_open_without_a_hail() -> None:
    bench = Bench(Vitals, dial_hz=28_074_000)
    bench.skip(4 * 240)
    listen(bench, 10, MANY[:2])
    listen(bench, 12)
    assert not bench.hails
    assert receiver(bench).text == "no station for 12 periods: receiver or band?"
    (found,) = [check for check in bench.host.preflight() if check.key == "receiver"]
    assert found.state is CheckState.WAITING


def test_in_winter_after_dark_the_hour_decides() -> None:
    """15 m at JO62 at 22 h in January."""
    bench = Bench(Vitals, dial_hz=21_074_000)
    bench.skip(260 * 5760 + 4 * 240)
    for count in (12, 12, 10, 8, 6, 4, 2, 1, 1, 1):
        listen(bench, 1, MANY[:count])
    listen(bench, 8)
    assert not bench.hails
    assert receiver(bench).text == "hears, but no station for 8 periods: the band is closed or empty"
    assert receiver(bench).sentence == (
        "Nothing decodes for 8 periods, where 5 stations did. It is probably the band, not your receiver: "
        "15 m is usually closed with the Sun 55° below the horizon and the stations faded one by one."
    )


def test_noise_as_usual_speaks_for_the_band() -> None:
    bench = Bench(Vitals)
    listen(bench, 12, MANY, noise_dbfs_hz=-64.0)
    listen(bench, 8, noise_dbfs_hz=-64.0)
    listen(bench, 8, noise_dbfs_hz=-63.5)
    assert not [key for key in hailed(bench) if key != "vitals|receiver"]
    assert receiver(bench).sentence is not None
    assert str(receiver(bench).sentence).startswith(
        "Nothing decodes for 16 periods, where 12 stations did. Receiver or band? For the receiver: all 12 stations "
        "went at once and 20 m is usually open with the Sun 3° up. For the band: the noise is as usual. Listen by ear"
    )


def test_another_source_that_hears_the_band_tells_soon() -> None:
    bench = Bench(Vitals)
    for _ in range(4):
        listen_with(bench, {"left": MANY[:4], "right": MANY[:4]})
    for _ in range(4):
        listen_with(bench, {"left": MANY[:4], "right": ()})
    for _ in range(6):
        listen_with(bench, {"left": MANY, "right": ()})
    (found,) = bench.hails
    assert found.key == "vitals|receiver|right", "and not once more as two sources that disagree"
    assert found.sentence.startswith("Receiver of right: ")
    assert "left hears 4 stations on the same band" in found.sentence
    assert receiver(bench).text == "right: probably deaf: no station for 10 periods"


def listen_with(bench: Bench, heard: dict[str, Sequence[str]]) -> None:
    for source, texts in heard.items():
        bench.hear(*texts, source=source)
        at, count = from_ms(bench.start_ms), len(texts)
        bench.feed(Period(v=1, source=source, at=at, mode=bench.mode, dial_hz=bench.dial_hz, count=count, final=True))
    bench.skip()


def test_who_reports_us_shows_that_the_band_is_open() -> None:
    bench = Bench(Vitals)
    listen(bench, 2)
    bench.received_by("CE3QRT")
    bench.received_by("W1QSB")
    listen(bench, 6)
    assert receiver(bench).text == "probably deaf: no station for 8 periods"
    assert "2 stations there reported you in the last minutes" in str(receiver(bench).sentence)


def test_signals_that_do_not_decode_are_no_closed_band() -> None:
    bench = Bench(Vitals)
    listen(bench, 12, MANY)
    listen(bench, 8, occupied=((400, 450), (900, 950), (1500, 1550), (2100, 2150)))
    assert hailed(bench) == ["vitals|receiver"]
    assert receiver(bench).text == "signals, but nothing decodes for 8 periods"
    assert "clock" in str(receiver(bench).sentence)


def test_a_clock_that_is_off_explains_the_silence() -> None:
    bench = Bench(Vitals)
    listen(bench, 12, MANY)
    bench.feed(Gauge(v=1, source="bench", at=from_ms(bench.start_ms), clock_synchronised=False))
    listen(bench, 12)
    assert hailed(bench) == ["vitals|clock"]
    assert receiver(bench).text == "not known while the clock is off"


def test_a_clock_that_nobody_keeps_is_not_to_blame_for_a_band_that_is_closed_anyway() -> None:
    """10 m at JO62 at 22 h in January, far from any time server."""
    bench = Bench(Vitals, dial_hz=28_074_000)
    bench.skip(260 * 5760 + 4 * 240)
    bench.feed(Gauge(v=1, source="bench", at=from_ms(bench.start_ms), clock_synchronised=False))
    listen(bench, 12)
    assert not bench.hails
    assert receiver(bench).text.startswith("hears, but no station")


def test_the_hour_alone_blames_no_receiver_that_never_heard_anything() -> None:
    bench = Bench(Vitals)
    listen(bench, 20)
    assert not bench.hails
    assert receiver(bench).text == "no station for 20 periods: receiver or band?"


def test_what_was_heard_on_another_band_just_before_speaks_for_the_receiver() -> None:
    bench = Bench(Vitals)
    bench.feed(Gauge(v=1, source="bench", at=from_ms(bench.start_ms), clock_synchronised=False))
    listen(bench, 6, MANY[:9])
    bench.dial_hz = 28_074_000
    listen(bench, 9)
    assert not bench.hails
    assert receiver(bench).text == "hears, but no station for 9 periods: the band is closed or empty"
    assert "you heard 9 stations on 20 m just before" in str(receiver(bench).sentence)


@pytest.mark.parametrize(("noise", "state"), [(None, CheckState.WAITING), (-64.0, CheckState.GOOD)])
def test_the_preflight_takes_noise_for_want_of_decodes(noise: float | None, state: CheckState) -> None:
    bench = Bench(Vitals)
    listen(bench, 3, noise_dbfs_hz=noise)
    (found,) = [check for check in bench.host.preflight() if check.key == "decodes"]
    assert found.state is state


def test_the_passband_of_a_silent_band_is_not_known() -> None:
    bench = Bench(Vitals)
    listen(bench, 20)
    (found,) = [check for check in bench.host.preflight() if check.key == "passband"]
    assert found.state is CheckState.WAITING
