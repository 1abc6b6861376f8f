"""When bursts are judged and periods closed."""

from __future__ import annotations

from tests.monitor.watch.build import START, Bench, heard, marker


def test_a_marker_ends_a_burst_at_once() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"), heard("CQ JA1QRV PM95"), marker(2, pass_=1))
    assert bench.seen.bursts == [["CQ W1QSB FN42", "CQ JA1QRV PM95"]]
    assert bench.seen.closed == []


def test_a_marker_that_overtakes_its_hearings_waits_for_them() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"), marker(2, final=True))
    assert bench.seen.bursts == []
    bench.feed(heard("CQ JA1QRV PM95"))
    assert bench.seen.bursts == [["CQ W1QSB FN42", "CQ JA1QRV PM95"]]
    assert bench.seen.closed == [(START, ["CQ W1QSB FN42", "CQ JA1QRV PM95"])]


def test_silence_ends_a_burst_of_a_source_without_markers() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"), heard("CQ JA1QRV PM95"))
    assert bench.watch.next_due() == bench.t + 200
    bench.tick(199)
    assert bench.seen.bursts == []
    bench.tick(1)
    assert bench.seen.bursts == [["CQ W1QSB FN42", "CQ JA1QRV PM95"]]


def test_each_burst_brings_only_what_is_fresh() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"), marker(1, pass_=1), heard("CQ JA1QRV PM95"), marker(2, pass_=2, final=True))
    assert bench.seen.bursts == [["CQ W1QSB FN42"], ["CQ JA1QRV PM95"]]
    assert bench.seen.closed == [(START, ["CQ W1QSB FN42", "CQ JA1QRV PM95"])]


def test_the_grace_ends_a_period_whose_final_marker_was_lost() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"))
    bench.tick(2_999)
    assert bench.seen.closed == []
    bench.tick(1)
    assert bench.seen.closed == [(START, ["CQ W1QSB FN42"])]


def test_the_next_period_ends_the_one_before() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"), heard("CQ JA1QRV PM95", 1))
    assert bench.seen.bursts == [["CQ W1QSB FN42"]]
    assert bench.seen.closed == [(START, ["CQ W1QSB FN42"])]


def test_another_streams_later_period_ends_an_abandoned_one() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"), heard("CQ JA1QRV PM95", 1, dial_hz=7_074_000))
    assert bench.seen.closed == [(START, ["CQ W1QSB FN42"])]


def test_a_late_hearing_is_kept_marked_and_judged_next() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"), marker(1, final=True))
    bench.feed(heard("DL5QRM JA1QRV PM95"))
    assert bench.seen.bursts == [["CQ W1QSB FN42"]]
    bench.feed(heard("CQ F5QSA JN18", 1), marker(1, 1, final=True))
    assert bench.seen.bursts == [["CQ W1QSB FN42"], ["DL5QRM JA1QRV PM95"], ["CQ F5QSA JN18"]]
    station = bench.watch.station("JA1QRV")
    assert station is not None
    assert station.best is not None
    assert station.best.late


def test_a_late_hearing_of_a_source_without_a_next_burst_is_judged_after_silence() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42"))
    bench.tick(5_000)
    bench.feed(heard("DL5QRM JA1QRV PM95"))
    bench.tick(200)
    assert bench.seen.bursts[-1] == ["DL5QRM JA1QRV PM95"]


def test_a_source_whose_clock_is_set_back_goes_on_at_once() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42", 100), marker(1, 100, final=True))
    bench.feed(heard("CQ JA1QRV PM95", 0), marker(1, 0, final=True))
    assert [start for start, _ in bench.seen.closed] == [START + 1_500_000, START]
    assert bench.watch.now_ms == START + 101 * 15_000


def test_two_receivers_of_one_source_have_periods_of_their_own() -> None:
    bench = Bench()
    bench.feed(
        heard("CQ W1QSB FN42", receiver="a"),
        marker(0, receiver="b", final=True),
        marker(1, receiver="a", final=True),
    )
    assert [texts for _, texts in bench.seen.closed] == [[], ["CQ W1QSB FN42"]]


def test_real_time_grace_counts_from_the_end_of_the_period() -> None:
    bench = Bench()
    bench.t = START + 12_000
    bench.feed(heard("CQ W1QSB FN42"))
    bench.tick(5_900)  # 17.9 s after the start
    assert bench.seen.closed == []
    bench.tick(150)
    assert len(bench.seen.closed) == 1
