"""A fault of the own station is hailed for all that else is hailed, and after quiet hours if it still stands."""

from __future__ import annotations

import msgspec
import pytest

from watchkeeper.api import Context, Hail, Hearing, Urgency, hookimpl
from watchkeeper.schema.events import Period, from_ms
from watchkeeper.testing import START_MS, Bench
from watchkeeper.watch.hails import HailRules
from watchkeeper_vitals import Vitals

#: the bench begins at 18:00 UTC; the quiet hours last until a quarter past
BEGINS_MIN = START_MS // 60_000 % 1440
QUIET = ((BEGINS_MIN, BEGINS_MIN + 15),)
PERIODS_A_MINUTE = 4


class Everybody:
    """Hails every station, each as rare as any."""

    name = "everybody"
    api = 1

    def __init__(self, _config: object, context: Context) -> None:
        self._context = context

    @hookimpl
    def annotate(self, hearing: Hearing) -> None:
        now_ms = self._context.now_ms
        self._context.hail(
            Hail(
                key=str(hearing.call), urgency=Urgency.WANTED, sentence=hearing.text, rule="all", at_ms=now_ms,
                call=hearing.call, rarity=1.0,
            )
        )  # fmt: skip


def bench(rules: HailRules, *others: type) -> Bench:
    on = Bench(Vitals, *others)
    on.watch.hails.obey(rules)
    return on


def periods(on: Bench, minutes: float, *, swr: float | None = None) -> None:
    for _ in range(round(minutes * PERIODS_A_MINUTE)):
        if swr is not None:
            on.gauge(sending=True, swr=swr, forward_w=10.0)
        on.close()


def hailed(on: Bench) -> list[tuple[str, float]]:
    """(key, minutes since the bench began) of the vitals' hails."""
    return [(hail.key, (hail.at_ms - START_MS) / 60_000) for hail in on.hails if hail.rule == "vitals"]


def test_stations_worth_a_call_do_not_keep_back_a_fault_nor_the_fault_them() -> None:
    on = bench(HailRules(per_hour=4), Everybody)
    on.period(*(f"CQ W{number}QSB FN42" for number in range(6)))
    assert len(on.hails) == 4, "as many as are wanted an hour"
    periods(on, 1, swr=2.4)
    assert [key for key, _ in hailed(on)] == ["vitals|match"]
    on = bench(HailRules(per_hour=4), Everybody)
    periods(on, 1, swr=2.4)
    on.period(*(f"CQ W{number}QSB FN42" for number in range(6)))
    assert len(on.hails) == 5


@pytest.mark.parametrize("told_again", [True, False], ids=["gauge tells it again", "gauge says no more"])
def test_a_fault_of_quiet_hours_is_hailed_at_their_end_once_if_it_still_stands(told_again: bool) -> None:
    on = bench(HailRules(quiet=QUIET))
    periods(on, 1, swr=2.4)
    periods(on, 40, swr=2.4 if told_again else None)
    assert [key for key, _ in hailed(on)] == ["vitals|match"]
    assert 15 <= hailed(on)[0][1] <= 15.5


def test_a_fault_that_mends_in_quiet_hours_is_hailed_no_more() -> None:
    on = bench(HailRules(quiet=QUIET))
    periods(on, 2, swr=2.4)
    periods(on, 40, swr=1.2)
    assert not hailed(on)


def test_one_that_becomes_urgent_is_hailed_in_quiet_hours() -> None:
    on = bench(HailRules(quiet=QUIET))
    periods(on, 2, swr=2.4)
    periods(on, 20, swr=9.0)
    assert len(hailed(on)) == 1
    assert hailed(on)[0][1] < 3


def test_a_fault_that_comes_back_within_its_hold_off_is_hailed_when_that_ends() -> None:
    on = bench(HailRules(hold_off_min=10))
    for swr in (2.4, 1.2, 2.4):
        periods(on, 2, swr=swr)
    assert len(hailed(on)) == 1
    periods(on, 20, swr=2.4)
    (_, first), (_, second) = hailed(on)
    assert 10 <= second - first <= 10.5


def test_a_source_that_joins_in_quiet_hours_leaves_the_matter_what_it_was() -> None:
    on = bench(HailRules(quiet=QUIET))
    for number in range(20 * PERIODS_A_MINUTE):
        on.feed(marker(on, "left", -80.0))
        if number > 20:
            on.feed(marker(on, "right", -30.0))
        on.skip()
    assert [key for key, _ in hailed(on)] == ["vitals|audio"]


def marker(on: Bench, source: str, audio_dbfs: float) -> Period:
    return Period(
        v=1, source=source, at=from_ms(on.start_ms), mode=on.mode, dial_hz=on.dial_hz, count=0, final=True,
        audio_dbfs=audio_dbfs,
    )  # fmt: skip


def test_a_replay_of_the_journal_gives_the_same_hails() -> None:
    rules = HailRules(per_hour=4, quiet=QUIET)
    on = bench(rules, Everybody)
    on.period(*(f"CQ W{number}QSB FN42" for number in range(6)))
    periods(on, 20, swr=2.4)
    again = bench(rules, Everybody)
    for entry in on.journal:
        again.watch.feed(entry)
    assert hailed(on)
    assert msgspec.json.encode(again.watch.drain().hails) == msgspec.json.encode(on.hails)
