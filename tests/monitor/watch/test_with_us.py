"""How far an exchange with us has come: what each message adds, takes back, or begins anew."""

from __future__ import annotations

import pytest

from watchkeeper.radio.message import read
from watchkeeper.watch.with_us import MAX_PARTNERS, REPEATS_MS, STALE_MS, WithUs, WithUsBook

PERIOD_MS = 15_000
ALL = ("our report to them", "their report to us", "their roger", "our roger")


class Talk:
    """A book, and one message of it a period unless a time is given."""

    def __init__(self, *texts: str) -> None:
        self.book = WithUsBook()
        self.at_ms = 0
        for text in texts:
            self.say(text)

    def say(self, text: str, at_ms: int | None = None) -> WithUs:
        self.at_ms = self.at_ms + PERIOD_MS if at_ms is None else at_ms
        reading = read(text)
        (part,) = reading.all_parts
        if reading.sender == "DL5QRM":
            assert reading.addressee is not None
            return self.book.we_said(reading.addressee, part, reading, self.at_ms)
        assert reading.sender is not None
        return self.book.they_said(reading.sender, part, reading, self.at_ms)


def exchange_of(talk: Talk, call: str = "W1QSB") -> WithUs:
    found = talk.book.get(call)
    assert found is not None
    return found


REPORTS = ("W1QSB DL5QRM -12", "DL5QRM W1QSB R-08")
COMPLETE = (*REPORTS, "W1QSB DL5QRM RR73")


@pytest.mark.parametrize(
    ("texts", "lacks"),
    [
        (("DL5QRM W1QSB FN42",), ALL),
        (("W1QSB DL5QRM JO62",), ALL),
        (("DL5QRM W1QSB -08",), (ALL[0], *ALL[2:])),
        (("DL5QRM W1QSB R-08",), (ALL[0], ALL[3])),
        (("W1QSB DL5QRM -12",), ALL[1:]),
        (("W1QSB DL5QRM R-12",), ALL[1:3]),
        (("DL5QRM W1QSB -08", "W1QSB DL5QRM R-12"), ("their roger",)),
        (("DL5QRM W1QSB -08", "W1QSB DL5QRM R-12", "DL5QRM W1QSB RRR"), ()),
        (("DL5QRM W1QSB -08", "W1QSB DL5QRM R-12", "DL5QRM W1QSB RR73"), ()),
        ((*REPORTS, "W1QSB DL5QRM RRR"), ()),
        (COMPLETE, ()),
        # a farewell acknowledges too, but only what has passed
        (("DL5QRM W1QSB -08", "W1QSB DL5QRM R-12", "DL5QRM W1QSB 73"), ()),
        ((*REPORTS, "W1QSB DL5QRM 73"), ()),
        (("W1QSB DL5QRM -12", "DL5QRM W1QSB 73"), ALL[1:]),
        (("DL5QRM W1QSB -08", "DL5QRM W1QSB 73"), (ALL[0], *ALL[2:])),
        (("DL5QRM W1QSB -08", "W1QSB DL5QRM 73"), (ALL[0], *ALL[2:])),
        (("W1QSB DL5QRM -12", "W1QSB DL5QRM 73"), ALL[1:]),
        (("W1QSB DL5QRM -12", "W1QSB DL5QRM JO62"), ALL[1:]),
        (("DL5QRM W1QSB -08", "W1QSB DL5QRM -12", "W1QSB DL5QRM JO62"), ALL[2:]),
    ],
)
def test_each_message_adds_what_it_says(texts: tuple[str, ...], lacks: tuple[str, ...]) -> None:
    found = exchange_of(Talk(*texts))
    assert found.lacks == lacks
    assert found.complete is not bool(lacks)
    assert found.wanted is bool(lacks)


@pytest.mark.parametrize(
    ("ours", "theirs", "report", "exchange", "told"),
    [
        ("W1QSB DL5QRM +03", "DL5QRM W1QSB R-08", ("+03", "-08"), (None, None), ("+03", "-08")),
        (
            "W1QSB DL5QRM 579 0013", "DL5QRM W1QSB R 589 MA",
            ("579", "589"), ("0013", "MA"), ("579 0013", "589 MA"),
        ),
        # QEX July/August 2020, "The FT4 and FT8 Communication Protocols", Table 1, type 5: RS and a four-digit serial
        (
            "<W1QSB> <DL5QRM> 570007 JO62QM", "<DL5QRM> <W1QSB> R 590123 FN42AA",
            ("57", "59"), ("0007 JO62QM", "0123 FN42AA"), ("57 0007 JO62QM", "59 0123 FN42AA"),
        ),
        # the same table, types 0.3 and 0.4: a field day exchanges no report
        ("W1QSB DL5QRM 17B DX", "DL5QRM W1QSB R 6A EMA", (None, None), ("17B DX", "6A EMA"), ("17B DX", "6A EMA")),
    ],
)  # fmt: skip
def test_a_contest_exchange_is_report_and_all_the_rest(
    ours: str,
    theirs: str,
    report: tuple[str | None, str | None],
    exchange: tuple[str | None, str | None],
    told: tuple[str, str],
) -> None:
    talk = Talk(ours)
    assert exchange_of(talk).lacks == ALL[1:]
    assert exchange_of(talk).they_told is None
    talk.say(theirs)
    found = exchange_of(talk)
    assert found.lacks == ("our roger",)
    assert (found.our_report, found.their_report) == report
    assert (found.our_exchange, found.their_exchange) == exchange
    assert (found.we_told, found.they_told) == told
    assert talk.say("W1QSB DL5QRM RR73").complete


def test_a_later_report_replaces_the_earlier_and_no_message_without_one_takes_it_away() -> None:
    talk = Talk("W1QSB DL5QRM -12", "DL5QRM W1QSB -08", "W1QSB DL5QRM R-13", "DL5QRM W1QSB R-09", "DL5QRM W1QSB RRR")
    found = exchange_of(talk)
    assert (found.our_report, found.their_report) == ("-13", "-09")
    talk = Talk("W1QSB DL5QRM 579 0013", "DL5QRM W1QSB 589 MA", "W1QSB DL5QRM R-12", "DL5QRM W1QSB R-08")
    found = exchange_of(talk)
    assert (found.we_told, found.they_told) == ("-12 0013", "-08 MA")


def test_it_knows_when_it_began_and_when_it_was_complete() -> None:
    talk = Talk(*COMPLETE)
    found = exchange_of(talk)
    assert (found.call, found.first_ms, found.last_ms, found.completed_ms) == ("W1QSB", 15_000, 45_000, 45_000)
    talk.say("DL5QRM W1QSB 73")
    assert (found.last_ms, found.completed_ms) == (60_000, 45_000), "what follows does not complete it later"
    # completed by their word
    assert exchange_of(Talk("DL5QRM W1QSB -08", "W1QSB DL5QRM R-12", "DL5QRM W1QSB RR73")).completed_ms == 45_000


def test_a_message_that_comes_late_turns_no_time_back() -> None:
    talk = Talk("DL5QRM W1QSB FN42", "W1QSB DL5QRM -12")
    talk.say("DL5QRM W1QSB -08", at_ms=PERIOD_MS)
    assert exchange_of(talk).last_ms == 2 * PERIOD_MS


def test_a_repeated_report_takes_our_roger_back() -> None:
    talk = Talk(*COMPLETE)
    found = talk.say("DL5QRM W1QSB R-08")
    assert found.lacks == ("our roger",)
    assert (found.our_roger, found.completed_ms, found.offered) == (False, None, False)
    assert talk.say("W1QSB DL5QRM RR73").completed_ms == 5 * PERIOD_MS


def test_a_repeated_report_after_the_contact_was_logged_opens_nothing() -> None:
    talk = Talk(*COMPLETE)
    talk.book.logged("W1QSB", 60_000)
    found = talk.say("DL5QRM W1QSB R-08")
    assert (found.lacks, found.our_roger, found.logged_ms) == ((), True, 60_000)


def test_what_was_not_complete_and_is_logged_lacks_nothing() -> None:
    talk = Talk(*REPORTS)
    talk.book.logged("W1QSB", 60_000)
    assert exchange_of(talk).lacks == ()
    assert talk.say("DL5QRM W1QSB R-08").our_roger is False


def test_logging_a_stranger_makes_no_exchange() -> None:
    talk = Talk()
    talk.book.logged("W1QSB", 60_000)
    assert talk.book.get("W1QSB") is None


def test_who_answers_again_after_a_complete_exchange_begins_a_new_one() -> None:
    talk = Talk(*COMPLETE)
    found = talk.say("DL5QRM W1QSB FN42")
    assert found is exchange_of(talk)
    assert (found.call, found.first_ms, found.last_ms) == ("W1QSB", 60_000, 60_000)
    assert (found.lacks, found.completed_ms) == (ALL, None)
    unfinished = Talk(*REPORTS)
    assert unfinished.say("DL5QRM W1QSB FN42").lacks == ("our roger",)


@pytest.mark.parametrize("text", ["DL5QRM W1QSB RR73", "DL5QRM W1QSB 73", "DL5QRM W1QSB RRR"])
def test_a_goodbye_after_a_complete_exchange_begins_none(text: str) -> None:
    assert Talk(*COMPLETE).say(text).first_ms == PERIOD_MS


@pytest.mark.parametrize("text", ["DL5QRM W1QSB FN42", "DL5QRM W1QSB -08"])
def test_after_a_logged_contact_only_a_call_that_is_no_repeat_begins_anew(text: str) -> None:
    logged_ms = 60_000
    for at_ms, anew in ((logged_ms + REPEATS_MS - 1, False), (logged_ms + REPEATS_MS, True)):
        talk = Talk(*COMPLETE)
        talk.book.logged("W1QSB", logged_ms)
        found = talk.say(text, at_ms)
        assert (found.logged_ms is None) is anew
        assert bool(found.lacks) is anew
        assert found.first_ms == (at_ms if anew else PERIOD_MS)


@pytest.mark.parametrize("text", ["DL5QRM W1QSB R-08", "DL5QRM W1QSB RRR", "DL5QRM W1QSB 73"])
def test_after_a_logged_contact_no_acknowledgement_begins_anew(text: str) -> None:
    talk = Talk(*COMPLETE)
    talk.book.logged("W1QSB", 60_000)
    assert talk.say(text, 60_000 + REPEATS_MS + PERIOD_MS).logged_ms == 60_000


def test_an_exchange_that_both_left_long_ago_is_no_part_of_the_next() -> None:
    for silence_ms, kept in ((STALE_MS, True), (STALE_MS + 1, False)):
        talk = Talk("DL5QRM W1QSB -08")
        found = talk.say("W1QSB DL5QRM JO62", PERIOD_MS + silence_ms)
        assert (found.their_report == "-08") is kept


def test_only_the_newest_partners_are_kept() -> None:
    book = WithUsBook()
    for number in range(MAX_PARTNERS):
        reading = read("DL5QRM W1QSB -08")
        book.they_said(f"P{number}", reading.all_parts[0], reading, number)
    assert book.get("P0") is not None
    book.they_said("P0", reading.all_parts[0], reading, MAX_PARTNERS)  # it speaks again: now P1 is the oldest
    book.they_said("NEW", reading.all_parts[0], reading, MAX_PARTNERS)
    assert (book.get("P1"), book.get("P0") is None, book.get("P2") is None) == (None, False, False)


def test_what_is_complete_and_in_no_log_is_to_be_offered_once() -> None:
    talk = Talk(*COMPLETE)
    found = exchange_of(talk)
    talk.say("DL5QRM JA1QRV -08")
    assert talk.book.unannounced(44_999) == []
    assert talk.book.unannounced(45_000) == [found]
    assert talk.book.offered() == [], "complete, but not offered yet"
    found.offered = True
    assert talk.book.unannounced(45_000) == []
    assert talk.book.offered() == [found]
    talk.say("DL5QRM W1QSB R-08")
    assert talk.book.offered() == [], "taken up again"
    talk.say("W1QSB DL5QRM RR73")
    assert talk.book.unannounced(talk.at_ms) == [found], "complete once more"
    found.offered = True
    talk.book.logged("W1QSB", talk.at_ms)
    assert (talk.book.unannounced(talk.at_ms), talk.book.offered()) == ([], [])
