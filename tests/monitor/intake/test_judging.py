"""Judging adapters: one that does all is told so, and each thing that adapters get wrong is found."""

from __future__ import annotations

import json
from typing import Any

import pytest

from watchkeeper.intake.judging import SourceJudge, Verdict
from watchkeeper.schema.events import to_ms
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
