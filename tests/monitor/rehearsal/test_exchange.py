"""An exchange runs as it is worked on the air, also when messages are not copied."""

from __future__ import annotations

import pytest

from watchkeeper.rehearsal.exchange import Exchange
from watchkeeper.rehearsal.words import Line, Say


def line(exchange: Exchange, sender: str) -> Line:
    report = exchange.report_sent_db or 0
    return Line(exchange.say, sender, "JN48" if sender == "DL5QRM" else "FN42", exchange.call, report)


def exchanges(*, contest: bool = False) -> tuple[Exchange, Exchange]:
    """The caller's side and that of the one who called CQ, who has heard nothing yet."""
    return (
        Exchange("W1QSB", None, Say.ANSWER, 0, contest),
        Exchange("DL5QRM", None, Say.CALL, 0, contest, due=False),
    )


def play(caller: Exchange, runner: Exchange, lost: frozenset[int] = frozenset(), periods: int = 20) -> list[Say]:
    """Let both speak in turn; messages whose number is in ``lost`` are not copied. Returns what was said."""
    said: list[Say] = []
    for period in range(periods):
        speaker, listener, call = (caller, runner, "DL5QRM") if period % 2 == 0 else (runner, caller, "W1QSB")
        if not speaker.due:
            continue
        message = line(speaker, call)
        speaker.said()
        said.append(message.say)
        if period not in lost:
            listener.heard(message, -10 if listener is runner else -4)
    return said


def test_the_usual_sequence() -> None:
    caller, runner = exchanges()
    assert play(caller, runner) == [
        Say.ANSWER,
        Say.REPORT,
        Say.ROGER_REPORT,
        Say.ROGER_FAREWELL,
        Say.FAREWELL,
    ]
    assert caller.complete
    assert runner.complete
    assert (caller.report_received, runner.report_received) == ("-10", "-04")
    assert runner.locator == "JN48"


def test_the_short_exchange_of_a_contest() -> None:
    caller, runner = exchanges(contest=True)
    assert play(caller, runner) == [Say.ANSWER, Say.ROGER_LOCATOR, Say.ROGER_FAREWELL]
    assert caller.complete
    assert runner.complete
    assert (caller.locator, runner.locator) == ("FN42", "JN48")


def test_a_tail_ender_begins_with_the_report() -> None:
    caller, runner = exchanges()
    caller.say, caller.report_sent_db = Say.REPORT, -3
    assert play(caller, runner) == [Say.REPORT, Say.ROGER_REPORT, Say.ROGER_FAREWELL, Say.FAREWELL]
    assert caller.complete
    assert runner.complete


@pytest.mark.parametrize("lost", [{0}, {1}, {2}, {3}, {4}, {1, 3}, {0, 2, 3}, {3, 5}])
@pytest.mark.parametrize("contest", [False, True])
def test_what_is_not_copied_is_said_again(lost: set[int], *, contest: bool) -> None:
    caller, runner = exchanges(contest=contest)
    play(caller, runner, frozenset(lost))
    assert caller.complete
    assert runner.complete


def test_a_farewell_that_is_never_copied_leaves_one_side_complete() -> None:
    caller, runner = exchanges()
    said = play(caller, runner, frozenset(range(3, 20, 2)))
    assert runner.complete
    assert not caller.complete
    assert said.count(Say.ROGER_REPORT) > 2
    assert said.count(Say.ROGER_FAREWELL) == said.count(Say.ROGER_REPORT)
