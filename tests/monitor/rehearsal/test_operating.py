"""The own operator: whom to call, what to say, when to give up, what to log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from watchkeeper.rehearsal import scenario, sky
from watchkeeper.rehearsal.air import Air
from watchkeeper.rehearsal.frequency import Frequency
from watchkeeper.rehearsal.ionosphere import Conditions
from watchkeeper.rehearsal.operating import Operator, Policy
from watchkeeper.rehearsal.outlet import Outlets, Pace
from watchkeeper.rehearsal.receiver import Copy
from watchkeeper.rehearsal.scenario import Own
from watchkeeper.rehearsal.words import Say

_START = 1_742_059_800_000  # an even period
_PERIOD = 15_000
_OWN = Own()


@pytest.fixture
def air() -> Air:
    """A band with nobody on it."""
    found = scenario.parse(
        """
        title = "nobody"
        start = 2025-03-15T18:00:00Z
        periods = 4
        [[band]]
        source = "decoder"
        dial_hz = 14_074_000
        stations = 0
        own = true
        """,
        "nobody.toml",
    )
    heaven = sky.Sky(1, found.sky, _START, _START + 1, Conditions(1.0, 1.0))
    return Frequency(1, found, found.band[0], heaven, Outlets(Pace(None, _START)), 0.0, _START).air


class Evening:
    """Plays periods for an operator: what it hears is given, what it says is kept."""

    def __init__(self, air: Air, policy: Policy = Policy.STRONGEST, own: Own = _OWN) -> None:
        self.operator = Operator(1, policy, own, air, contest=False)
        self.said: list[tuple[Say, str | None]] = []
        self._at_ms = _START

    def period(
        self, *texts: str, snr_db: int = -5, advice: Sequence[Mapping[str, Any]] = ()
    ) -> tuple[Say, str | None] | None:
        """One period: what the operator sent in it, or None when it listened to ``texts``."""
        at_ms, self._at_ms = self._at_ms, self._at_ms + _PERIOD
        sent = self.operator.transmission(at_ms)
        if sent is not None:
            self.said.append((sent.line.say, sent.line.to))
            return self.said[-1]
        copies = [Copy(text, snr_db + number, 600.0 + 100 * number, 0.2, 1) for number, text in enumerate(texts)]
        self.operator.learn(at_ms, copies, advice)
        return None


def test_a_whole_contact_is_logged_once(air: Air) -> None:
    evening = Evening(air)
    assert evening.period("CQ W1QSB FN42") is None
    assert evening.period() == (Say.ANSWER, "W1QSB")
    assert evening.period("DL5QRM W1QSB -12") is None
    assert evening.period() == (Say.ROGER_REPORT, "W1QSB")
    assert evening.period("DL5QRM W1QSB RR73") is None
    assert evening.period() == (Say.FAREWELL, "W1QSB")
    (logged,) = evening.operator.to_log
    assert logged.call == "W1QSB"
    assert logged.exchange.report_received == "-12"
    assert logged.exchange.report_sent_db == -5
    assert logged.exchange.locator == "FN42"
    assert logged.started_ms == _START


def test_a_farewell_that_was_not_copied_is_said_again_but_not_logged_again(air: Air) -> None:
    evening = Evening(air)
    for text in ("CQ W1QSB FN42", "DL5QRM W1QSB -12", "DL5QRM W1QSB RR73", "DL5QRM W1QSB RR73"):
        evening.period(text)
        evening.period()
    assert evening.said[-2:] == [(Say.FAREWELL, "W1QSB")] * 2
    assert len(evening.operator.to_log) == 1


def test_the_strongest_that_was_not_worked_is_called(air: Air) -> None:
    evening = Evening(air)
    evening.operator.worked.add("JA1QRV")
    evening.period("CQ W1QSB FN42", "CQ W2QSC FN20", "CQ JA1QRV PM95")
    assert evening.operator.calling == "W2QSC"


def test_one_that_does_not_answer_is_given_up(air: Air) -> None:
    evening = Evening(air)
    evening.period("CQ W1QSB FN42")
    calls = 0
    while evening.operator.calling == "W1QSB":
        calls += evening.period() is not None
        evening.period()
    assert calls == _OWN.patience


def test_advice_is_followed_in_the_parity_that_it_names(air: Air) -> None:
    evening = Evening(air, Policy.ADVICE)
    row = {"call": "PJ4/K1QRB", "parity": 1, "offset_hz": 800.0, "snr_db": -9.0}
    evening.period("CQ W1QSB FN42", advice=[row, {"call": "W1QSB"}])
    assert evening.operator.calling == "PJ4/K1QRB"
    assert evening.operator.parity == 0


def test_better_advice_is_followed_after_two_calls_in_vain(air: Air) -> None:
    evening = Evening(air, Policy.ADVICE)
    first, other = {"call": "W1QSB", "parity": 0}, {"call": "W2QSC", "parity": 0}
    evening.period("CQ W1QSB FN42", advice=[first])
    evening.period()
    evening.period("CQ W1QSB FN42", advice=[other])
    assert evening.operator.calling == "W1QSB"
    evening.period()
    evening.period("CQ W1QSB FN42", advice=[other])
    assert evening.operator.calling == "W2QSC"


def test_no_advice_means_nobody_is_called(air: Air) -> None:
    evening = Evening(air, Policy.ADVICE)
    evening.period("CQ W1QSB FN42")
    assert evening.operator.calling is None


def test_a_hunter_who_finds_nobody_calls_for_a_while(air: Air) -> None:
    evening = Evening(air)
    for _ in range(20):
        evening.period()
    assert (Say.CALL, None) in evening.said


def test_one_who_calls_is_answered_before_anybody_is_called(air: Air) -> None:
    evening = Evening(air)
    evening.period("CQ W2QSC FN20", "DL5QRM W1QSB FN42")
    assert evening.period() == (Say.REPORT, "W1QSB")


def test_the_advised_of_two_callers_comes_first_and_the_other_next(air: Air) -> None:
    evening = Evening(air, Policy.ADVICE, Own(style="run"))
    evening.period()
    evening.period("DL5QRM W1QSB FN42", "DL5QRM W2QSC FN20", advice=[{"call": "W1QSB"}, {"call": "W2QSC"}])
    assert evening.operator.calling == "W1QSB"
    evening.period()
    evening.period("DL5QRM W1QSB R-07", advice=[{"call": "W2QSC"}])
    assert evening.period() == (Say.ROGER_FAREWELL, "W1QSB")
    evening.period("DL5QRM W1QSB 73", advice=[{"call": "W2QSC"}])
    assert evening.operator.calling == "W2QSC"


def test_one_who_runs_calls_again_and_again(air: Air) -> None:
    evening = Evening(air, own=Own(style="run"))
    for _ in range(8):
        evening.period()
    assert evening.said == [(Say.CALL, None)] * 4


def test_a_phantom_can_be_called_and_never_answers(air: Air) -> None:
    evening = Evening(air)
    evening.period("DL5QRM VU3QRP FN42")
    assert evening.period() == (Say.REPORT, "VU3QRP")
    assert evening.operator.active is not None
    assert evening.operator.active.partner is None


def test_after_a_change_of_band_everything_begins_anew(air: Air) -> None:
    evening = Evening(air)
    evening.period("CQ W1QSB FN42")
    evening.operator.worked.add("W1QSB")
    evening.operator.move(air, contest=False)
    assert evening.operator.calling is None
    assert not evening.operator.worked


def test_it_does_not_go_on_calling_one_that_has_taken_another(air: Air) -> None:
    evening = Evening(air)
    evening.period("CQ W1QSB FN42")
    assert evening.period() == (Say.ANSWER, "W1QSB")
    evening.period("G4QRS W1QSB -07", "CQ JA1QRV PM95")
    assert evening.period() == (Say.ANSWER, "JA1QRV"), "it works another now"


def test_it_calls_again_one_that_was_not_heard_or_says_goodbye_to_another(air: Air) -> None:
    evening = Evening(air)
    evening.period("CQ W1QSB FN42")
    evening.period()
    evening.period("CQ JA1QRV PM95")
    assert evening.period() == (Say.ANSWER, "W1QSB")
    evening.period("G4QRS W1QSB RR73", "CQ JA1QRV PM95")
    assert evening.period() == (Say.ANSWER, "W1QSB")
