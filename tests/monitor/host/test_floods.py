"""A plugin that floods the operator with hails is cut short and rested."""

from __future__ import annotations

from tests.monitor.host.plugins import Flooder, Plain, Shower

from watchkeeper.api import Hail, Hearing, Period, Urgency, hookimpl
from watchkeeper.host.plugin_host import MOST_HAILS
from watchkeeper.host.status import State
from watchkeeper.testing import Bench


def test_three_floods_of_hails_rest_a_plugin() -> None:
    bench = Bench(Flooder, Shower)
    for _ in range(3):
        assert bench.status("flooder").state is State.RUNNING
        bench.period("CQ CE3QRT FF46")
    flooder = bench.status("flooder")
    assert flooder.state is State.RESTED
    assert flooder.reason == (
        f"flooded 3 times: it raised more than {MOST_HAILS} hails in one judgement; the rest were dropped"
    )
    assert bench.status("shower").state is State.RUNNING
    assert [entry.rest.plugin for entry in bench.journal if entry.rest is not None] == ["flooder"]
    raised = len(bench.raised)
    bench.period("CQ CE3QRT FF46")
    assert len(bench.raised) == raised, "a rested plugin raises nothing"


def test_a_hail_for_each_hearing_is_no_flood_however_many_there_are() -> None:
    class Keen(Plain):
        name = "keen"

        def hail(self, text: str) -> None:
            self.context.hail(
                Hail(key=text, urgency=Urgency.NOTE, sentence=text, rule="all", at_ms=self.context.now_ms)
            )

        @hookimpl
        def annotate(self, hearing: Hearing) -> None:
            self.hail(f"note {hearing.text}")

        @hookimpl
        def period_closed(self, period: Period) -> None:
            for hearing in period.hearings:
                self.hail(f"period {hearing.text}")

    bench = Bench(Keen)
    texts = [
        f"CQ {first}{number}QR{last} FF46"
        for first in ("CA", "CE")
        for number in range(10)
        for last in "ABCDEFGHIJKLMNOP"
    ]
    assert len(texts) > MOST_HAILS
    for _ in range(4):
        bench.period(*texts)
    assert bench.status("keen").state is State.RUNNING
    assert bench.status("keen").reason is None
    assert len(bench.raised) == 4 * 2 * len(texts)


def test_floods_far_apart_do_not_add_up() -> None:
    bench = Bench(Flooder)
    for _ in range(5):
        bench.period("CQ CE3QRT FF46")
        bench.skip(4 * 6)
    assert bench.status("flooder").state is State.RUNNING


def test_the_same_journal_rests_a_flooder_at_the_same_place() -> None:
    """The rest is an entry, so a journal read again has the same hails, though nothing is asked for then."""
    live, again = Bench(Flooder), Bench(Flooder)
    for _ in range(5):
        live.period("CQ CE3QRT FF46")
    again.host.live = False
    for entry in live.journal:
        again.watch.feed(entry)
        again.hails += again.watch.drain().hails
    assert again.rests == []
    assert [hail.key for hail in again.hails] == [hail.key for hail in live.hails]
    assert again.host.rested() == live.host.rested() != ()
