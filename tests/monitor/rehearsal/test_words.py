"""What simulated stations say is what the trade's reader understands."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.message import read
from watchkeeper.rehearsal.regions import SUFFIXES, regions
from watchkeeper.rehearsal.words import HashTable, Line, Say, is_standard, report_text, text

_STEPS = {
    Say.CALL: "calling",
    Say.ANSWER: "answering",
    Say.REPORT: "report",
    Say.ROGER_REPORT: "roger_report",
    Say.ROGER_LOCATOR: "roger_report",
    Say.ROGER_FAREWELL: "roger_farewell",
    Say.FAREWELL: "farewell",
}
_PREFIXES = sorted({prefix for region in regions() for prefix in region.prefixes if "/" not in prefix})
_HOME = st.builds(str.__add__, st.sampled_from(_PREFIXES), st.sampled_from(SUFFIXES))
_CALLS = st.one_of(_HOME, _HOME.map(lambda call: f"{call}/P"), _HOME.map(lambda call: f"PJ4/{call}"))


@given(
    say=st.sampled_from([say for say in Say if say is not Say.CALL]),
    sender=_CALLS,
    to=_CALLS,
    report_db=st.integers(-30, 30),
)
def test_every_directed_message_reads_back(say: Say, sender: str, to: str, report_db: int) -> None:
    shown = HashTable("DL5QRM")
    shown.hear(sender)
    shown.hear(to)
    reading = read(text(Line(say, sender, "JN48", to, report_db), shown))
    assert (reading.sender, reading.addressee) == (sender, to)
    if say is Say.ANSWER and not is_standard(sender):
        assert reading.locator is None  # a call in full leaves no room for it
        return
    assert reading.step == _STEPS[say]
    if say in (Say.REPORT, Say.ROGER_REPORT):
        assert reading.report_db == report_db
    if say in (Say.ANSWER, Say.ROGER_LOCATOR):
        assert reading.locator == "JN48"


@given(sender=_CALLS, word=st.sampled_from([None, "DX", "EU", "TEST"]))
def test_every_call_to_all_reads_back(sender: str, word: str | None) -> None:
    reading = read(text(Line(Say.CALL, sender, "JN48", word=word), HashTable("DL5QRM")))
    assert reading.is_call_to_all
    assert reading.sender == sender
    if is_standard(sender):
        assert (reading.locator, reading.directed_to) == ("JN48", word)


def test_two_addressees_in_one_message() -> None:
    shown = HashTable("DL5QRM")
    shown.hear("PJ4/K1QRB")
    line = Line(Say.ROGER_FAREWELL, "PJ4/K1QRB", "FK52", "W1QSB", second=("JA1QRV", -8))
    reading = read(text(line, shown))
    assert reading.parts is not None
    assert [(part.addressee, part.step) for part in reading.parts] == [
        ("W1QSB", "roger_farewell"),
        ("JA1QRV", "report"),
    ]
    assert reading.parts[1].report_db == -8


def test_a_call_never_heard_in_full_stays_hidden() -> None:
    said = text(Line(Say.REPORT, "PJ4/K1QRB", "FK52", "W1QSB", -3), HashTable("DL5QRM"))
    assert said == "W1QSB <...> -03"


def test_two_calls_with_one_hash_are_taken_for_each_other() -> None:
    calls = [f"{prefix}{suffix}" for prefix in _PREFIXES for suffix in SUFFIXES]
    by_hash: dict[str, str] = {}
    table = HashTable("DL5QRM")
    for call in calls:
        shown = table.short(call)
        if shown not in ("<...>", f"<{call}>"):
            by_hash[call] = shown
            break
        table.hear(call)
    ((call, shown),) = by_hash.items()
    assert shown[1:-1] in calls
    assert shown[1:-1] != call


@pytest.mark.parametrize(("report_db", "shown"), [(-5, "-05"), (0, "+00"), (12, "+12"), (-40, "-30"), (60, "+49")])
def test_reports_have_a_sign_and_two_digits(report_db: int, shown: str) -> None:
    assert report_text(report_db) == shown
