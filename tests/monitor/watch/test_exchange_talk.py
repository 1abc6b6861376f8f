"""The exchange tracker against generated conversations in which messages are lost, and against silence."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from tests.monitor.watch.build import START, Bench, contact, heard, marker, sent

from watchkeeper.model import Doing, OnAir
from watchkeeper.watch.exchange import CALLER_TURNS, VANISHED_TURNS
from watchkeeper.watch.journal import Outcome

OWN = "DL5QRM"
RUNNERS = {"W1QSB": "FN42", "CE3QRT": "FF46"}
SEARCHERS = {"JA1QRV": "PM95", "F5QSA": "JN18", "VK2QRU": "QF56"}
#: what each side says in turn, the searcher first, and what its sender then does
TURNS = (
    ("{r} {s} {grid}", Doing.ANSWERING),
    ("{s} {r} -08", Doing.REPORTING),
    ("{r} {s} R-11", Doing.REPORTING),
    ("{s} {r} RR73", Doing.FREE),
    ("{r} {s} 73", Doing.FREE),
)
BUSY = {Doing.ANSWERING, Doing.REPORTING, Doing.CLOSING}


def station(bench: Bench, call: str) -> OnAir:
    found = bench.watch.station(call)
    assert found is not None
    return found


def closed(bench: Bench, period: int, *texts: str, listened: bool = True) -> None:
    """One period with its hearings, closed by its marker."""
    bench.feed(*[heard(text, period) for text in texts])
    bench.feed(marker(len(texts), period, final=True, listened_s=15.0 if listened else 0.0))


@dataclass
class Talk:
    """One conversation: who, and what was said last."""

    runner: str
    searcher: str
    turn: int = 0

    @property
    def sender(self) -> str:
        return self.runner if self.turn % 2 else self.searcher

    def line(self) -> str:
        return TURNS[self.turn][0].format(r=self.runner, s=self.searcher, grid=SEARCHERS[self.searcher])


class Conversations(RuleBasedStateMachine):
    """Runners in even periods, searchers in odd ones. ``copied`` holds what a perfect reader knows of each sender."""

    def __init__(self) -> None:
        super().__init__()
        self.bench = Bench()
        self.period = 0
        self.talks: dict[str, Talk] = {}
        self.copied: dict[str, tuple[Doing, str | None, int]] = {}

    def _parity(self, talk: Talk) -> int:
        return 0 if talk.sender == talk.runner else 1

    @rule(
        starts=st.lists(st.tuples(st.sampled_from(sorted(RUNNERS)), st.sampled_from(sorted(SEARCHERS))), max_size=2),
        losses=st.lists(st.booleans(), min_size=6, max_size=6),
    )
    def period_passes(self, starts: list[tuple[str, str]], losses: list[bool]) -> None:
        lost = iter(losses)
        texts = []
        parity = self.period % 2
        for runner, searcher in starts:
            busy = {talk.searcher for talk in self.talks.values()}
            if parity == 1 and runner not in self.talks and searcher not in busy:
                self.talks[runner] = Talk(runner, searcher)
        for runner, talk in list(self.talks.items()):
            if self._parity(talk) != parity:
                continue
            if not next(lost):
                texts.append(talk.line())
                other = talk.searcher if talk.sender == talk.runner else talk.runner
                self._knows(talk.sender, TURNS[talk.turn][1], other)
            talk.turn += 1
            if talk.turn == len(TURNS):
                del self.talks[runner]
        for runner in sorted(RUNNERS):
            if parity == 0 and runner not in self.talks and not next(lost):
                texts.append(f"CQ {runner} {RUNNERS[runner]}")
                self._knows(runner, Doing.CALLING, None)
        closed(self.bench, self.period, *texts)
        self.period += 1

    def _knows(self, call: str, doing: Doing, partner: str | None) -> None:
        self.copied[call] = (doing, partner, self.period)

    @precondition(lambda self: self.copied)
    @rule(periods=st.integers(18, 24))
    def everybody_falls_silent(self, periods: int) -> None:
        for _ in range(periods):
            closed(self.bench, self.period)
            self.period += 1
        self.talks.clear()
        for row in self.bench.watch.stations():
            assert row.doing not in BUSY, f"{row.call} is kept busy by a partner that has vanished"

    @invariant()
    def what_was_copied_in_the_last_period_stands(self) -> None:
        for call, (doing, partner, period) in self.copied.items():
            if period == self.period - 1:
                row = station(self.bench, call)
                assert (row.doing, row.partner) == (doing, partner)
                assert (row.free_since_ms is not None) == (doing in (Doing.CALLING, Doing.FREE))
                assert row.missed == 0

    @invariant()
    def nobody_is_free_since_later_than_now_or_free_while_busy(self) -> None:
        for row in self.bench.watch.stations():
            if row.doing in BUSY:
                assert row.free_since_ms is None
            elif row.free_since_ms is not None:
                assert row.first_ms <= row.free_since_ms <= self.bench.watch.now_ms

    @invariant()
    def nobody_calls_me(self) -> None:
        assert not any(row.calls_me or row.lacks for row in self.bench.watch.stations())


TestConversations = Conversations.TestCase
TestConversations.settings = settings(max_examples=40, stateful_step_count=30, deadline=None)


class Callers(RuleBasedStateMachine):
    """Others call us and we answer, with losses on both ways. ``done`` are those that the log holds."""

    def __init__(self) -> None:
        super().__init__()
        self.bench = Bench()
        self.period = 1
        self.spoke: dict[str, int] = {}
        self.done: dict[str, int] = {}
        self.logged = 0

    @rule(
        who=st.sampled_from(sorted(SEARCHERS)),
        says=st.sampled_from(("grid", "-08", "R-08", "RR73", "73")),
        copied=st.booleans(),
    )
    def one_of_them_speaks(self, who: str, says: str, copied: bool) -> None:
        tail = SEARCHERS[who] if says == "grid" else says
        closed(self.bench, self.period, *[f"{OWN} {who} {tail}"] if copied else [])
        if copied:
            self.spoke[who] = self.period
            row = station(self.bench, who)
            fresh = who not in self.done or self.period - self.done[who] >= 10
            if says in ("grid", "-08") and fresh:
                assert row.calls_me
            if says in ("RR73", "73"):
                assert not row.calls_me
        self.period += 2

    @rule(who=st.sampled_from(sorted(SEARCHERS)), says=st.sampled_from(("-12", "R-12", "RR73", "73")))
    def we_answer(self, who: str, says: str) -> None:
        self.bench.feed(sent(f"{who} {OWN} {says}", self.period + 1))
        row = self.bench.watch.station(who)
        if row is not None:
            assert row.waited_since_ms is None

    @rule(who=st.sampled_from(sorted(SEARCHERS)))
    def the_contact_is_logged(self, who: str) -> None:
        self.logged += 1
        self.bench.feed(contact(who, f"c-{self.logged}", self.period))
        candidate = self.bench.watch.candidate
        assert candidate is not None
        self.bench.t += 1
        outcome = Outcome(key=candidate.contact.key, status="stored", contact=self.logged)
        self.bench.watch.feed(self.bench.chunk.number(self.bench.t, outcome=outcome))
        self.done[who] = self.period
        row = self.bench.watch.station(who)
        assert row is None or not row.calls_me, "its contact is in the log"

    @rule()
    def nobody_speaks(self) -> None:
        for _ in range(CALLER_TURNS * 2 + 1):
            closed(self.bench, self.period)
            self.period += 1
        self.period += 1 - self.period % 2
        assert not any(row.calls_me for row in self.bench.watch.stations()), "a silent caller has given up"

    @invariant()
    def who_calls_me_lacks_something_and_waits(self) -> None:
        for row in self.bench.watch.stations():
            if row.calls_me:
                assert row.lacks
                assert row.call in self.spoke


TestCallers = Callers.TestCase
TestCallers.settings = settings(max_examples=40, stateful_step_count=30, deadline=None)


# -- single cases -----------------------------------------------------------------------------------------------------


def test_a_runner_is_free_in_the_very_period_of_its_goodbye() -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB -08")
    assert station(bench, "W1QSB").free_since_ms is None
    bench.feed(heard("JA1QRV W1QSB RR73", 2))
    row = station(bench, "W1QSB")
    assert (row.doing, row.free_since_ms) == (Doing.FREE, START + 30_000)


def test_an_acknowledgement_tells_of_a_report_that_was_not_copied() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    closed(bench, 3, "W1QSB JA1QRV R-11")
    row = station(bench, "W1QSB")
    assert (row.doing, row.partner, row.free_since_ms) == (Doing.REPORTING, "JA1QRV", None)


def test_who_calls_a_station_is_its_rival_until_long_silent() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    closed(bench, 1, "W1QSB JA1QRV PM95", "W1QSB F5QSA JN18")
    assert [call for call, _ in station(bench, "W1QSB").rivals] == ["JA1QRV", "F5QSA"]
    for period in range(2, 30):
        closed(bench, period, *["CQ W1QSB FN42"] if period % 2 == 0 else [])
    assert station(bench, "W1QSB").rivals == ()
    assert station(bench, "W1QSB").calls_in_vain > 10


def test_turns_in_which_we_sent_are_not_missed() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    for period in (2, 4):
        bench.feed(sent("CQ DL5QRM JO62", period))
        closed(bench, period, listened=False)
    assert station(bench, "W1QSB").missed == 0
    closed(bench, 6)
    assert station(bench, "W1QSB").missed == 1


def test_a_partner_that_vanished_frees_a_station_after_its_turns() -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB -08")
    turn = 0
    while station(bench, "W1QSB").doing in BUSY:
        turn += 1
        closed(bench, 2 * turn)
    assert VANISHED_TURNS <= turn <= VANISHED_TURNS + 2


def test_a_change_of_mind_is_followed_at_once() -> None:
    bench = Bench()
    closed(bench, 1, "W1QSB JA1QRV PM95")
    closed(bench, 3, "CE3QRT JA1QRV PM95")
    row = station(bench, "JA1QRV")
    assert (row.doing, row.partner) == (Doing.ANSWERING, "CE3QRT")


@pytest.mark.parametrize(
    ("text", "waits"),
    [
        ("CE3QRT JA1QRV PM95", False),
        ("CE3QRT JA1QRV R-10", False),
        ("CQ JA1QRV PM95", False),
        ("CE3QRT JA1QRV 73", True),
        ("DL5QRM JA1QRV PM95", True),
    ],
)
def test_a_caller_that_turns_to_others_waits_for_us_no_more(text: str, waits: bool) -> None:
    bench = Bench()
    closed(bench, 1, "DL5QRM JA1QRV PM95")
    assert station(bench, "JA1QRV").calls_me
    closed(bench, 3, text)
    assert station(bench, "JA1QRV").calls_me is waits
    assert (station(bench, "JA1QRV").waited_since_ms is not None) is waits


def test_a_caller_that_works_several_at_once_still_waits_for_us() -> None:
    bench = Bench()
    bench.feed(heard("DL5QRM JA1QRV -10", 1, offset_hz=800.0), heard("W1QSB JA1QRV -12", 1, offset_hz=900.0))
    assert station(bench, "JA1QRV").calls_me


def test_our_calls_in_vain_are_counted_until_it_answers() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    for period in (1, 3):
        bench.feed(sent("W1QSB DL5QRM JO62", period))
    assert station(bench, "W1QSB").tries == 2
    closed(bench, 4, "DL5QRM W1QSB -15")
    row = station(bench, "W1QSB")
    assert (row.tries, row.calls_me) == (0, True)


def test_three_clear_steps_down_are_a_fade() -> None:
    bench = Bench()
    for period, level_db in ((0, -5.0), (2, -9.0), (4, -14.0)):
        bench.feed(heard("CQ W1QSB FN42", period, snr_db=level_db))
    assert station(bench, "W1QSB").fading
    bench.feed(heard("CQ W1QSB FN42", 6, snr_db=-10.0))
    assert not station(bench, "W1QSB").fading


def test_of_two_messages_in_one_period_the_same_stands_whatever_their_order() -> None:
    told = []
    for texts in (("CQ W1QSB FN42", "JA1QRV W1QSB -08"), ("JA1QRV W1QSB -08", "CQ W1QSB FN42")):
        bench = Bench()
        bench.feed(*[heard(text, 0, offset_hz=800.0 + 60 * at) for at, text in enumerate(texts)])
        row = station(bench, "W1QSB")
        told.append((row.doing, row.partner, row.free_since_ms))
    assert told[0] == told[1] == (Doing.CALLING, None, START)


def test_who_only_answers_leaves_with_its_goodbye() -> None:
    bench = Bench()
    closed(bench, 1, "W1QSB JA1QRV 73")
    assert station(bench, "JA1QRV").leaving
    closed(bench, 0, "CQ CE3QRT FF46")
    closed(bench, 2, "JA1QRV CE3QRT 73")
    assert not station(bench, "CE3QRT").leaving
