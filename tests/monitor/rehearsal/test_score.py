"""Figures of merit from a truth and a session's outputs, both written by hand here."""

from __future__ import annotations

from typing import Any

import pytest

from watchkeeper.rehearsal.lacking import lacking
from watchkeeper.rehearsal.score import Outputs, given, score
from watchkeeper.schema.events import stamp

_START = 1_742_059_800_000
_MINUTE = 60_000
_HOUR = 60 * _MINUTE


def at(minutes: float) -> str:
    return stamp(_START + round(minutes * _MINUTE))


def ms(minutes: float) -> int:
    return _START + round(minutes * _MINUTE)


def truth(**parts: Any) -> dict[str, Any]:
    return {
        "scenario": "a test",
        "seed": 1,
        "world": "usual",
        "operator": "advice",
        "start": at(0),
        "end": at(120),
        "bands": [{"band": "20", "source": "decoder", "dial_hz": 14_074_000, "mode": "FT8"}],
        "stations": [
            {"band": "20", "call": "W1QSB", "dxcc": 291},
            {"source": "decoder", "call": "W2QSC", "dxcc": 291},
            {"source": "decoder", "call": "JA1QRV", "dxcc": 339},
        ],
        "faults": [],
        "openings": [],
        "contacts": [],
        "callers": [],
        "phantoms": [],
        "reports": [],
        "reach": {"20": {}},
    } | parts


def hail(call: str, minutes: float, **parts: Any) -> dict[str, Any]:
    return {
        "hail": {
            "key": f"lookout|calls me|{call}",
            "urgency": 3,
            "rule": "calls me",
            "at_ms": ms(minutes),
            "call": call,
        }
        | parts
    }


def figures(what: dict[str, Any], *outputs: dict[str, Any]) -> dict[str, Any]:
    return score(what, outputs, stored=0, forwarded=0)


def caller(call: str, minutes: float, *, copied: bool = True) -> dict[str, Any]:
    return {"source": "decoder", "at": at(minutes), "call": call, "copied": copied}


def test_hails_are_right_when_somebody_really_called() -> None:
    what = truth(
        callers=[caller("W1QSB", 10), caller("W1QSB", 10.5), caller("W2QSC", 20), caller("JA1QRV", 30, copied=False)]
    )
    found = figures(what, hail("W1QSB", 10.25, act_by_ms=ms(10.3)), hail("DL9QUZ", 40, act_by_ms=ms(39)))["hails"]
    assert found["precision"] == 0.5
    assert found["recall"] == 0.5
    assert found["median_delay_s"] == 0.0
    assert found["in_time"] == 0.5
    assert found["doubled"] == 0


def test_a_second_hail_of_one_matter_is_one_too_many() -> None:
    what = truth(callers=[caller("W1QSB", 10)])
    found = figures(what, hail("W1QSB", 10.25), hail("W1QSB", 12), hail("W1QSB", 55))["hails"]
    assert found["doubled"] == 1


def test_a_late_hail_counts_with_its_delay() -> None:
    what = truth(callers=[caller("W1QSB", 10)])
    assert figures(what, hail("W1QSB", 10.75))["hails"]["median_delay_s"] == 30.0


def test_what_did_not_come_out_is_none() -> None:
    found = figures(truth())
    assert found["hails"] == {
        "precision": None, "recall": None, "doubled": 0, "median_delay_s": None, "in_time": None,
    }  # fmt: skip
    assert found["report"]["median_abs_error_db"] is None
    assert found["chance"]["brier"] is None
    assert found["openings"]["median_delay_min"] is None
    assert found["phantoms"] == {"precision": None, "recall": None}


def advice(minutes: float, **row: Any) -> dict[str, Any]:
    return {"advice": {"at_ms": ms(minutes), "rows": [{"call": "W1QSB", "band": "20m", "mode": "FT8"} | row]}}


def test_expected_reports_are_compared_with_the_real_snr_there() -> None:
    what = truth(reach={"20": {"W1QSB": [[at(0), -3.0, -10.0], [at(15), -3.0, -14.0]]}})
    found = figures(what, advice(5, expected_db=-12), advice(20, expected_db=-15), advice(20, expected_db=None))[
        "report"
    ]
    assert (found["median_abs_error_db"], found["count"]) == (1.5, 2)


def test_an_honest_forecast_beats_a_constant_one() -> None:
    strong, weak = [[at(0), 0.0, 0.0]], [[at(0), 0.0, -40.0]]
    what = truth(reach={"20": {"W1QSB": strong, "W2QSC": weak}})
    honest = [advice(5, chance=0.98), advice(5, chance=0.02, call="W2QSC")]
    blind = [advice(5, chance=0.5), advice(5, chance=0.5, call="W2QSC")]
    good, bad = figures(what, *honest)["chance"], figures(what, *blind)["chance"]
    assert good["brier"] < 0.01 < good["brier_constant"] == pytest.approx(0.25, abs=0.01)
    assert bad["brier"] == pytest.approx(bad["brier_constant"], abs=0.005)


def test_the_worst_tenth_is_told() -> None:
    what = truth(reach={"20": {"W1QSB": [[at(0), 0.0, 0.0]]}})
    found = figures(what, *[advice(5, chance=0.75)] * 40)["chance"]
    assert found["worst_bin_gap"] == pytest.approx(0.25, abs=0.01)


def test_reports_that_were_given_are_held_against_the_last_word_before() -> None:
    what = truth(reports=[{"at": at(minutes), "by": "W1QSB", "snr_db": -12.0} for minutes in (1, 4, 6, 9)])
    said = Outputs.of([advice(5, expected_db=-15.0), advice(8, expected_db=-10.0)]).advice
    assert given(what, said, after=0) == [-3.0, 2.0], "before the first word there is nothing to compare"
    assert given(what, said, after=3) == [2.0], "the first ones are to learn from"
    many = [{"at": at(minutes), "by": "W1QSB", "snr_db": -12.0} for minutes in range(1, 23)]
    found = figures(truth(reports=many), advice(5, expected_db=-15.0))["report"]
    assert (found["median_abs_error_given_db"], found["count_given"]) == (3.0, 2)


def test_every_missing_figure_has_its_reason() -> None:
    nothing = figures(truth())
    told = lacking(nothing)
    missing = {f"{group}.{name}" for group, its in nothing.items() if isinstance(its, dict) for name in its
               if its[name] is None}  # fmt: skip
    assert set(told) == missing
    assert told["hails.recall"] == "no call to the own station was copied"
    heard = figures(truth(callers=[caller("W1QSB", 10)]), hail("W1QSB", 10.25, act_by_ms=ms(10.3)))
    assert not any(name.startswith("hails.") for name in lacking(heard))


def vital(what: str, minutes: float) -> dict[str, Any]:
    return {"hail": {"key": f"vitals|{what}", "urgency": 2, "rule": what, "at_ms": ms(minutes)}}


def test_faults_are_found_in_their_time() -> None:
    faults = [
        {"kind": "clock", "from_s": 600, "to_s": 1200, "value": 1.8},
        {"kind": "swr", "from_s": 3600, "to_s": 4200, "value": 3.5},
        {"kind": "offline", "from_s": 0, "to_s": 1e9, "value": 1},
    ]
    found = figures(truth(faults=faults), vital("clock", 11), vital("match", 5), vital("match", 90))["vitals"]
    assert found["injected"] == 2
    assert found["found"] == 1
    assert found["median_delay_periods"] == 4.0
    assert found["false_per_day"] == 24.0  # two in two hours


def test_a_weak_battery_is_found_by_whoever_watches_the_supply() -> None:
    faults = [{"kind": "battery", "from_s": 600, "to_s": 1e9, "value": 0.1}]
    told = {"hail": {"key": "supply|low", "urgency": 2, "rule": "battery low", "at_ms": ms(12)}}
    assert figures(truth(faults=faults), told)["vitals"]["found"] == 1


def test_openings_are_timed_and_false_ones_counted() -> None:
    spans = [
        {"band": "20", "sector": "W", "ring_km": 4000, "from": at(30), "to": at(60)},
        {"band": "20", "sector": "W", "ring_km": 8000, "from": at(45), "to": at(75)},
    ]
    rows = [{"band": "20m", "direction": "W"}]
    shown = [
        {"openings": {"at_ms": ms(10), "rows": []}},
        {"openings": {"at_ms": ms(36), "rows": rows}},
        {"openings": {"at_ms": ms(40), "rows": rows}},
        {"openings": {"at_ms": ms(100), "rows": [{"band": "20m", "direction": "S"}]}},
    ]
    found = figures(truth(openings=spans), *shown)["openings"]
    assert found == {
        "median_delay_min": 6.0,
        "false_per_day": 12.0,
        "count": 1,
        "median_delay_meanwhile_min": 6.0,
        "count_meanwhile": 1,
    }


def test_a_direction_counts_from_the_start_and_one_already_shown_at_once() -> None:
    spans = [
        {"band": "20", "sector": "W", "ring_km": 4000, "from": at(0), "to": at(60)},
        {"band": "20", "sector": "E", "ring_km": 4000, "from": at(30), "to": at(60)},
    ]
    west = {"band": "20m", "direction": "W"}
    shown = [
        {"openings": {"at_ms": ms(2), "rows": [west]}},
        {"openings": {"at_ms": ms(20), "rows": [west, {"band": "20m", "direction": "E"}]}},
    ]
    found = figures(truth(openings=spans), *shown)["openings"]
    assert (found["median_delay_min"], found["count"]) == (1.0, 2)
    assert (found["median_delay_meanwhile_min"], found["count_meanwhile"]) == (0.0, 1)


def test_one_that_came_and_went_before_it_opened_was_not_shown_then() -> None:
    spans = [{"band": "20", "sector": "W", "ring_km": 4000, "from": at(30), "to": at(60)}]
    west = {"band": "20m", "direction": "W"}
    shown = [
        {"openings": {"at_ms": ms(20), "rows": [west]}},
        {"openings": {"at_ms": ms(25), "rows": []}},
        {"openings": {"at_ms": ms(34), "rows": [west]}},
    ]
    assert figures(truth(openings=spans), *shown)["openings"]["median_delay_min"] == 4.0


def test_phantoms_that_were_and_were_not_believed() -> None:
    what = truth(
        phantoms=[
            {"source": "decoder", "at": at(1), "text": "W1QSB DL9QUZ RR73", "aided": False},
            {"source": "decoder", "at": at(2), "text": "DL5QRM DL9QUZ -12", "aided": True},
        ]
    )
    told = [
        {"doubtful": {"source": "decoder", "period_ms": ms(1), "text": "W1QSB DL9QUZ RR73"}},
        {"doubtful": {"source": "decoder", "period_ms": ms(3), "text": "CQ W1QSB FN42"}},
    ]
    assert figures(what, *told)["phantoms"] == {"precision": 0.5, "recall": 0.5}


def test_needed_contacts_are_the_first_with_an_entity_on_a_band() -> None:
    made = [
        {"band": "20", "id": str(number), "call": call, "at": at(number)}
        for number, call in enumerate(("W1QSB", "W2QSC", "JA1QRV"))
    ]
    found = score(truth(contacts=made), [], stored=3, forwarded=2)["contacts"]
    assert found == {"made": 3, "stored": 3, "forwarded": 2, "needed": 2, "needed_per_hour": 1.0}
