"""Openings: what is counted, by band and direction, against the same counted anew from all that was heard."""

from __future__ import annotations

from collections.abc import Iterable
from random import Random
from statistics import median
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from watchkeeper.api import Own, Reception, from_ms
from watchkeeper.testing import Bench
from watchkeeper.view import Notice, Series
from watchkeeper_openings import Openings, change
from watchkeeper_openings.showing import Open, summary
from watchkeeper_openings.window import Direction, Figures, Heard


def bench(**config: Any) -> Bench:
    return Bench(Openings, config={"openings": config})


def rows(on: Bench) -> dict[str, Any]:
    return {row.key: row for row in on.table("openings.directions").rows}


def test_stations_are_counted_by_band_and_direction() -> None:
    # from JO62qm by geodesic: Chile about 237°, Japan about 42°, the east coast of the United States about 299°
    on = bench()
    on.hear("CQ CE3QRT FF46", snr_db=-15)
    on.hear("CQ CE1QRM FG40", snr_db=-9)
    on.hear("CQ JA1QRV PM95", snr_db=-20)
    on.close()
    on.dial_hz = 7_074_000
    on.period("CQ W1QSB FN42", snr_db=-3)
    found = rows(on)
    assert list(found) == ["40m|NW", "20m|SW", "20m|NE"], "the lowest band first, then most stations"
    assert found["20m|SW"].cells == (
        "20 m", "SW", "2", "2.0", "−12", "−9", found["20m|SW"].cells[6], "new",
    )  # fmt: skip
    assert found["20m|SW"].data["farthest_call"] == "CE3QRT"
    assert found["20m|SW"].cells[6].endswith("km Chile")
    assert found["40m|NW"].data["stations"] == 1


def test_rates_are_per_listened_period() -> None:
    on = bench()
    for number in range(4):
        if number % 2:
            on.send("CQ DL5QRM JO62")
            on.close()
        else:
            on.period("CQ CE3QRT FF46")
    assert rows(on)["20m|SW"].data["rate"] == 1.0, "in the other two we sent and heard nothing"
    on.close(listened_s=1.0)
    assert rows(on)["20m|SW"].data["rate"] == 1.0, "a period that was hardly listened to does not count"
    on.close(listened_s=14.0)
    on.close()
    assert rows(on)["20m|SW"].data["rate"] == 0.5


def test_what_is_no_credible_live_hearing_of_a_known_place_is_not_counted() -> None:
    on = bench()
    on.hear("CQ XX9QRM AA00", low_confidence=True, snr_db=-24)
    on.hear("CQ CE3QRT FF46", live=False)
    on.hear("DL5QRM <...> -10")
    on.close()
    assert on.table("openings.directions").rows == ()
    far = bench(min_distance_km=1000)
    far.period("CQ OE1QRM JN88")
    assert far.table("openings.directions").rows == ()


def test_what_is_older_than_the_window_is_forgotten() -> None:
    on = bench(window_min=5)
    on.period("CQ CE3QRT FF46")
    for _ in range(19):
        on.close()
    assert "20m|SW" in rows(on)
    on.close()
    on.close()
    assert rows(on) == {}
    (line,) = (view for view in on.views() if isinstance(view, Notice))
    assert line.text == "20 m: nobody from a known place in 20 listened periods"


def test_trends() -> None:
    on = bench(window_min=10)
    for _ in range(20):
        on.period("CQ CE3QRT FF46")
    for _ in range(18):
        on.period("CQ CE3QRT FF46", *(f"CQ JA{number}QRV PM95" for number in range(4)))
    assert rows(on)["20m|SW"].data["trend"] == "steady"
    assert rows(on)["20m|NE"].data["trend"] == "opening"
    for _ in range(20):
        on.period("CQ CE3QRT FF46")
    assert rows(on)["20m|NE"].data["trend"] == "closed"
    (line,) = (view for view in on.views() if isinstance(view, Notice))
    assert line.text == "20 m: 5 heard, closed NE; 8,926 to 12,530 km Chile"
    (row,) = (row for row in on.table("openings.directions").rows if row.data["direction"] == "NE")
    assert row.sentence == "20 m NE, closed since 18:09: 4 stations, JA3QRV in Japan 8,926 km"


#: of the 80 characters of a narrow screen, those that the panel's name leaves
NARROW = 80 - len("OPENINGS ─ ")


def test_a_narrow_screen_cuts_no_more_of_a_bands_line_than_the_farthest_place() -> None:
    """The longest that there is: four digits of stations, two directions, hundreds that hear us, a band in cm."""
    figures = Figures(
        stations=1234, rate=9.0, quartiles_db=(-20.0, -10.0, 0.0), best_db=9.0, nearest_km=1234.0,
        farthest_km=19_999.0, farthest_call="VK3QRT", place="Saint Peter and Saint Paul Archipelago",
        trend="opening", since_ms=0,
    )  # fmt: skip
    nobody = figures._replace(stations=0)
    line = summary("23cm", [Open("23cm", "FT8", "NE", figures), Open("23cm", "FT8", "SW", nobody)], 40, 500)
    assert line.text[:NARROW].startswith("23 cm: 1234 heard, opening NE, SW; 500 hear you; 1,234 to 19,999 km")


def test_the_band_in_use_stands_first() -> None:
    on = bench()
    for dial_hz, first in ((14_074_000, "openings.20m"), (7_074_000, "openings.40m"), (14_074_000, "openings.20m")):
        on.tune(dial_hz=dial_hz)
        on.hear("CQ JA1QRV PM95", dial_hz=dial_hz)
        on.close(dial_hz=dial_hz)
        lines = [view for view in on.views() if isinstance(view, Notice) and view.name != "openings.grey_line"]
        assert min(lines, key=lambda line: (line.rank, line.name)).name == first


def test_without_a_locator_it_says_what_it_lacks() -> None:
    on = Bench(Openings, own=Own(call="DL5QRM"))
    on.period("CQ CE3QRT FF46")
    assert on.table("openings.directions").missing == "your locator, for directions and distances"


def test_the_views_are_the_same_object_while_nothing_changed() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46")
    assert on.table("openings.directions") is on.table("openings.directions")


_HEARINGS = st.lists(
    st.tuples(
        st.integers(0, 30),  # period
        st.sampled_from([f"CE{number}QRT" for number in range(5)]),
        st.integers(-24, 20),
        st.integers(0, 3),  # periods that it comes late
    ),
    max_size=60,
)


@settings(max_examples=60)
@given(_HEARINGS, st.integers(1, 30))
def test_a_direction_agrees_with_counting_everything_anew(heard: list[tuple[int, str, int, int]], window: int) -> None:
    """The model keeps all hearings and counts those within the window; lateness stays below the window's length."""
    direction = Direction()
    kept: list[tuple[int, str, int]] = []
    now = 0
    for period, call, snr_db, late in sorted(heard, key=lambda each: each[0] + each[3]):
        now = max(now, period + late)
        if period < now - window:
            continue
        direction.expire(now - window)
        direction.add(call, Heard(period, snr_db, 1000.0, "Chile"))
        kept.append((period, call, snr_db))
    direction.expire(now - window)
    alive = [each for each in kept if each[0] >= now - window]
    figures = direction.figures([(start, 0) for start in range(-10, 0)], window)
    newest: dict[str, tuple[int, int]] = {}
    for period, call, snr_db in alive:
        newest[call] = max(newest.get(call, (-1, -99)), (period, snr_db))
    if figures is None:
        assert not newest
        return
    # a late hearing of a new station may outlive the window until those before it go: it never counts for less
    assert figures.stations >= len(newest)
    if all(late == 0 for *_, late in heard):
        assert figures.stations == len(newest)
        levels = [snr_db for _, snr_db in newest.values()]
        assert (figures.median_db, figures.best_db) == (median(levels), max(levels))
        assert figures.rate == len({(period, call) for period, call, _ in alive}) / 10


def test_memory_is_bounded() -> None:
    direction = Direction()
    for number in range(5_000):
        direction.add(f"call {number}", Heard(0, 0, 1.0, "?"))
    figures = direction.figures([(0, 0)], 900_000)
    assert figures is not None
    assert figures.stations == 2_000


def passing_by(random: Random, until_s: float, stations: float, stay_s: float = 600.0) -> list[tuple[float, float]]:
    """(from, to) of stations that come and go by chance, so many of them at a time; seconds."""
    spans, at_s = [], -5 * stay_s
    while at_s < until_s:
        at_s += random.expovariate(stations / stay_s)
        spans.append((at_s, at_s + random.expovariate(1 / stay_s)))
    return spans


def heard_of(random: Random, spans: Iterable[tuple[float, float]], until_s: int) -> list[change.Heard]:
    """Each station sends in every other period, and seven of ten such are copied."""
    made = []
    for period, start_s in enumerate(range(0, until_s, 15)):
        here = (number for number, (from_s, to_s) in enumerate(spans) if from_s <= start_s < to_s)
        calls = {str(number) for number in here if number % 2 == period % 2 and random.random() < 0.7}
        made.append(change.Heard(start_s * 1000, period % 2, calls))
    return made


def last_quarter_hour(periods: list[change.Heard]) -> tuple[str, int | None]:
    return change.in_words([one for one in periods if one.start_ms > periods[-1].start_ms - 900_000], 900_000)


def test_stations_that_come_and_go_make_no_change_of_a_direction() -> None:
    random = Random(1)
    told = [last_quarter_hour(heard_of(random, passing_by(random, 900, 12), 900))[0] for _ in range(400)]
    assert told.count("steady") >= 0.97 * len(told)


def test_a_direction_that_opens_or_closes_is_told_within_five_minutes_and_since_when() -> None:
    random = Random(2)
    late_s = 0
    for _ in range(100):
        stay = passing_by(random, 1800, 8)
        opens = heard_of(random, [(max(900.0, from_s), to_s) for from_s, to_s in stay], 900 + 315)
        closes = heard_of(random, [(from_s, min(900.0, to_s)) for from_s, to_s in stay], 900 + 315)
        (opened, opened_ms), (closed, closed_ms) = last_quarter_hour(opens), last_quarter_hour(closes)
        late_s += (opened, closed) != ("opening", "closed")
        assert opened_ms is None or abs(opened_ms - 900_000) <= 300_000
        assert closed_ms is None or abs(closed_ms - 900_000) <= 300_000
    assert late_s <= 5


def test_listening_to_one_parity_instead_of_both_is_no_change() -> None:
    both = heard_of(Random(3), [(0.0, 900.0)] * 60, 900)
    for begins in range(60):
        then_one = [one for number, one in enumerate(both) if number < begins or number % 2]
        one_then_both = [one for number, one in enumerate(both) if number >= begins or number % 2]
        assert last_quarter_hour(then_one)[0] == last_quarter_hour(one_then_both)[0] == "steady"


def test_distances_are_shown_by_ring_with_the_share_that_is_credible() -> None:
    on = bench()
    on.hear("CQ CE3QRT FF46", snr_db=-15)
    on.hear("CQ OE1QRM JN88", snr_db=-5)
    on.hear("CQ XX9QRM AA00", low_confidence=True, snr_db=-24)
    on.close()
    found = {row.key: row.data for row in on.table("openings.distances").rows}
    assert list(found) == ["20m|1500", "20m|20040"]
    assert found["20m|20040"]["stations"] == 1
    assert found["20m|1500"]["credible_share"] == 0.667


def test_a_ring_that_opens_is_told_from_one_that_is_open() -> None:
    on = bench(window_min=10)
    for _ in range(12):
        on.period("CQ OE1QRM JN88")
    for _ in range(12):
        on.period("CQ OE1QRM JN88", *(f"CQ JA{number}QRV PM95" for number in range(4)))
    table = on.table("openings.distances")
    assert {len(row.cells) for row in table.rows} == {len(table.columns)}
    found = {row.key: row for row in table.rows}
    assert (found["20m|1500"].data["trend"], found["20m|1500"].data["rate"]) == ("steady", 1.0)
    assert (found["20m|10000"].data["trend"], found["20m|10000"].data["rate"]) == ("opening", 2.0)
    assert found["20m|10000"].data["farthest_call"] == "JA3QRV"


def test_the_history_is_kept_by_five_minutes() -> None:
    on = bench()
    for number in range(60):
        on.period(*(["CQ CE3QRT FF46"] if number < 20 else ["CQ CE3QRT FF46", "CQ JA1QRV PM95"]))
    (view,) = (view for view in on.views() if isinstance(view, Series))
    assert [rate for _, rate in view.lines[0].points] == [1.0, 2.0, 2.0]


def test_who_hears_us_counts_on_a_band_that_we_do_not_hear() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46")
    at = from_ms(on.start_ms)
    on.feed(
        Reception(
            v=1, source="bench", at=at, by_call="W1QSB", call="DL5QRM/P", snr_db=-9, dial_hz=7_074_000, mode="FT8"
        )
    )
    texts = [view.text for view in on.views() if isinstance(view, Notice) and view.title == "40 m"]
    assert texts == ["40 m: not listened to; 1 hears you"]


def test_the_grey_line_is_noticed() -> None:
    """1 May 2026 at JO62: the Sun sets at about 18:35 UTC (computed by the project's own tested Sun)."""
    on = bench()
    for _ in range(40 * 4):
        on.close()
    (notice,) = (view for view in on.views() if view.name == "openings.grey_line")
    assert isinstance(notice, Notice)
    assert notice.text.startswith("Grey line until about 19:")
