"""Judging adapters: one that does all is told so, and each thing that adapters get wrong is found."""

from __future__ import annotations

import json
from typing import Any

import pytest

from watchkeeper.intake.judging import SourceJudge, Verdict
from watchkeeper.schema.events import KINDS, MAX_NETWORK_DATAGRAM, stamp, to_ms
from watchkeeper.schema.examples import EXAMPLES
from watchkeeper.schema.wire import decode, decode_event


def arrival_ms(example: dict[str, Any]) -> int:
    """The examples come as soon as they can: a hearing of FT8 13.5 s into its period (QEX July/August 2020)."""
    event = decode_event(json.dumps(example))
    return to_ms(event.at) + (13_500 if example["kind"] in ("heard", "period") else 100)


def judged(*events: dict[str, Any] | tuple[dict[str, Any], int], source: str | None = None) -> SourceJudge:
    judge = SourceJudge(source)
    for entry in events:
        example, now = entry if isinstance(entry, tuple) else (entry, arrival_ms(entry))
        datagram = json.dumps(example).encode()
        judge.note(datagram, decode(datagram), now)
    return judge


def verdicts(judge: SourceJudge) -> dict[str, Verdict]:
    return {check.rule: check.verdict for check in judge.checks()}


def failures(judge: SourceJudge) -> dict[str, str]:
    return {check.rule: check.why for check in judge.checks() if check.verdict is Verdict.FAILED}


def heard(**changes: Any) -> dict[str, Any]:
    return {**EXAMPLES["heard"], **changes}


def test_the_schemas_own_scene_passes_every_rule() -> None:
    scene = [example for kind, example in EXAMPLES.items() if kind != "farewell"]
    found = verdicts(judged(*scene))
    assert Verdict.FAILED not in found.values()
    assert [rule for rule, verdict in found.items() if verdict is Verdict.MISSING] == []
    assert len(found) == 14


def test_hearings_alone_lack_much_and_break_nothing() -> None:
    found = verdicts(judged(heard()))
    assert found["hearings come in time"] is Verdict.DONE
    assert {rule for rule, verdict in found.items() if verdict is Verdict.MISSING} == {
        f"{kind} events" for kind in ("station", "tuning", "period", "sent", "contact", "gauge")
    }


def test_optional_fields_that_matter_are_missed() -> None:
    bare = {name: value for name, value in EXAMPLES["heard"].items() if name != "late_s"}
    missing = {check.rule: check.why for check in judged(bare).checks() if check.verdict is Verdict.MISSING}
    assert missing["late_s in heard"] == "for clock errors"


@pytest.mark.parametrize(
    ("event", "rule", "why"),
    [
        (heard(dial_hz=14074), "dial frequencies lie in a band", "14074 Hz in heard"),  # kHz for Hz
        (heard(dial_hz=-1), "events are valid", "bad_value at dial_hz"),
        (heard(mode="FT 8"), "events are valid", "bad_value at mode"),
        (heard(mode="FT9"), "modes are ADIF's", "FT9"),
        (heard(offset_hz=14_075_520.0 / 100), "offsets and reports are plausible", "offset 140755 Hz"),
        (heard(snr_db=-120), "offsets and reports are plausible", "-120 dB"),
        (heard(late_s=13.2), "offsets and reports are plausible", "late 13.2 s"),
        (heard(text="CQ JA1QRV PM95  ?"), "texts are clean", "'CQ JA1QRV PM95  ?'"),
        (heard(run=None, seq=None), "events are numbered", "heard without run or seq"),
        (heard(run=None), "events are numbered", "heard without run or seq"),
        (heard(seq=None), "events are numbered", "heard without run or seq"),
        ({**EXAMPLES["gauge"], "forward_w": 10_000}, "values fit their units", "forward_w 10000 in gauge"),  # mW for W
        ({**EXAMPLES["gauge"], "supply_v": 132.0}, "values fit their units", "supply_v 132 in gauge"),  # dV for V
        ({**EXAMPLES["period"], "count": 0, "audio_dbfs": 20.0}, "values fit their units", "audio_dbfs 20 in period"),
        (
            {**EXAMPLES["contact"], "ended_at": "2026-05-01T11:00:00Z"},
            "contacts end after they start",
            "contact 2026-05-01-0017",
        ),
        ({**EXAMPLES["contact"], "ack": False}, "contacts ask for a receipt", "contact 2026-05-01-0017 without ack"),
        ({**EXAMPLES["period"], "count": 3}, "markers count right", "12:00:00.000 says 3, 0 came"),
        ({**EXAMPLES["station"], "remark": "x" * 1200}, "datagrams fit a network", "bytes"),
    ],
)
def test_each_mistake_is_found(event: dict[str, Any], rule: str, why: str) -> None:
    now = arrival_ms(EXAMPLES[event["kind"]])
    found = failures(judged((event, now)))
    assert list(found) == [rule]
    assert found[rule].startswith("1 of ")
    assert why in found[rule]


def test_the_time_of_decoding_is_no_periods_start() -> None:
    found = failures(judged((heard(at="2026-05-01T12:00:13.400Z"), arrival_ms(heard()))))
    assert found["at is a period's start"] == "1 of 1: heard at 12:00:13.400"
    assert found["hearings come in time"] == "1 of 1: at 12:00:13.400 came 0.1 s behind it"


@pytest.mark.parametrize("late_s", [-60.0, 3.0, 61.0, 3600.0])
def test_hearings_at_the_wrong_time_are_found(late_s: float) -> None:
    found = failures(judged((heard(), arrival_ms(heard()) - 13_500 + round(late_s * 1000))))
    assert f"came {late_s:.1f} s behind it" in found["hearings come in time"]


def test_a_period_that_was_being_told_before_anybody_listened_is_not_held_against_the_sender() -> None:
    marker = {**EXAMPLES["period"], "count": 3}
    start = to_ms(decode_event(json.dumps(marker)).at)
    for since_s, seq, found in ((13.0, 4, []), (13.0, 1, ["markers count right"]), (7.0, 4, ["markers count right"])):
        judge = SourceJudge(since_ms=start + round(since_s * 1000))
        datagram = json.dumps({**marker, "seq": seq}).encode()
        judge.note(datagram, decode(datagram), start + 13_500)
        assert list(failures(judge)) == found


def test_what_is_from_a_recording_may_come_at_any_time() -> None:
    assert failures(judged((heard(live=False), 0))) == {}


def test_missing_numbers_are_found() -> None:
    assert failures(judged(heard(seq=1), heard(seq=4))) == {"no number is missing": "2 never came"}


def test_an_unknown_kind_is_no_fault() -> None:
    judge = judged(heard())
    datagram = json.dumps({**heard(), "kind": "smelt"}).encode()
    judge.note(datagram, decode(datagram), 0)
    assert failures(judge) == {}


def test_one_source_can_be_judged_among_others() -> None:
    judge = judged(heard(), heard(source="other", dial_hz=1, seq=900), source="mydecoder")
    assert judge.kinds["heard"] == 1
    assert failures(judge) == {}


def test_examples_are_few_however_many_mistakes() -> None:
    why = failures(judged(*[heard(mode=f"X{number}", seq=number) for number in range(100)]))["modes are ADIF's"]
    assert why == "100 of 100: X0; X1; X2"


def test_broken_rules_say_of_how_many_and_where_and_kept_ones_say_nothing() -> None:
    broken = (heard(seq=4, dial_hz=-1), arrival_ms(heard()))
    checks = judged(heard(seq=1), heard(seq=2, snr_db=-120), heard(seq=3), broken).checks()
    told = {check.rule: (check.verdict, check.why) for check in checks}
    assert told["offsets and reports are plausible"][1].startswith("1 of 3: ")
    assert told["events are valid"] == (
        Verdict.FAILED, "1 of 4: bad_value at dial_hz: dial_hz: Expected int >= 0",
    )  # fmt: skip
    assert told["modes are ADIF's"] == told["texts are clean"] == (Verdict.DONE, "")
    assert told["no number is missing"] == (Verdict.DONE, "")
    assert told["contact events"] == (Verdict.MISSING, "for the log")


def test_a_datagram_that_is_no_event_has_no_place() -> None:
    judge = judged(heard())
    judge.note(b"null", decode(b"null"), 0)
    assert failures(judge)["events are valid"] == "1 of 2: not_object: an event is a JSON object, not null"


def test_a_contact_may_be_over_in_the_moment_it_began() -> None:
    at = EXAMPLES["contact"]["ended_at"]
    assert failures(judged({**EXAMPLES["contact"], "started_at": at})) == {}


def test_kinds_are_counted() -> None:
    kinds = judged(heard(seq=1), heard(seq=2), EXAMPLES["gauge"]).kinds
    assert (kinds["heard"], kinds["gauge"], kinds["farewell"]) == (2, 1, 0)
    assert set(kinds) == set(KINDS), "the kinds that never came are named too"


@pytest.mark.parametrize("size", [MAX_NETWORK_DATAGRAM, MAX_NETWORK_DATAGRAM + 1])
def test_a_datagram_fits_a_network_up_to_the_limit(size: int) -> None:
    judge = SourceJudge()
    datagram = json.dumps(heard()).encode().ljust(size)
    judge.note(datagram, decode(datagram), arrival_ms(heard()))
    assert ("datagrams fit a network" in failures(judge)) is (size > MAX_NETWORK_DATAGRAM)


@pytest.mark.parametrize(
    ("change", "plausible"),
    [
        ({"offset_hz": 0.0}, True), ({"offset_hz": -0.5}, False),
        ({"offset_hz": 6000.0}, True), ({"offset_hz": 6000.5}, False),
        ({"snr_db": -40.0}, True), ({"snr_db": -40.5}, False),
        ({"snr_db": 60.0}, True), ({"snr_db": 60.5}, False),
        ({"late_s": 5.0}, True), ({"late_s": -5.0}, True), ({"late_s": 5.5}, False), ({"late_s": -5.5}, False),
        ({"late_s": None}, True),
    ],
)  # fmt: skip
def test_what_is_plausible_ends_where_it_says(change: dict[str, Any], plausible: bool) -> None:
    # the limits are common practice, no source
    found = failures(judged(heard(**change)))
    assert list(found) == ([] if plausible else ["offsets and reports are plausible"])


def test_an_implausible_hearing_is_told_with_what_it_says_and_no_more() -> None:
    found = failures(judged(heard(snr_db=-120.0, offset_hz=1520.5, late_s=None)))
    assert found["offsets and reports are plausible"] == "1 of 1: offset 1520.5 Hz, -120 dB, late 0 s"


@pytest.mark.parametrize(
    ("late_s", "in_time"),
    # FT8: 12.64 s of transmission from 0.5 s on, and periods of 15 s (QEX July/August 2020); an early pass 5 s before
    [(8.139, False), (8.14, True), (30.0, True), (30.001, False)],
)
def test_a_hearing_has_from_its_end_to_the_end_of_the_next_period(late_s: float, in_time: bool) -> None:
    start = arrival_ms(heard()) - 13_500
    found = failures(judged((heard(), start + round(late_s * 1000))))
    assert ("hearings come in time" not in found) is in_time


def test_markers_are_held_against_the_hearings_of_their_own_period() -> None:
    marker = {**EXAMPLES["period"], "count": 2, "seq": 3}
    assert failures(judged(heard(seq=1), heard(seq=2), marker)) == {}
    found = failures(judged(heard(seq=1), heard(seq=2, dial_hz=7_074_000), marker))
    assert found == {"markers count right": "1 of 1: 12:00:00.000 says 2, 1 came"}


def test_the_hearings_of_the_last_sixty_four_periods_are_remembered() -> None:
    def period_of(number: int) -> dict[str, Any]:
        start_ms = to_ms(decode_event(json.dumps(heard())).at) + 15_000 * number
        return {"at": stamp(start_ms), "live": False, "run": "r", "seq": number + 1}

    for later, remembered in ((63, True), (64, False)):
        scene = [heard(**period_of(number)) for number in range(later + 1)]
        marker = {**EXAMPLES["period"], **period_of(0), "count": 1, "seq": later + 2}
        assert ("markers count right" not in failures(judged(*scene, marker))) is remembered
