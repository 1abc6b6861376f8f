"""Measures a watch by the truth of a rehearsal.

``score`` is a pure function of the truth file and of what came out of the watch, one object a line:

* ``{"hail": …}``: each hail as the watch prints it (``key``, ``urgency``, ``at_ms``, ``call``, ``act_by_ms``). The key
  of a vital's hail begins with ``vitals|WHAT``, WHAT as in ``FINDS``, or with ``supply|``.
* ``{"advice": {"at_ms": …, "rows": […]}}``: the data of the ranked lookout rows after a judgement; of each ``call``
  and, where it has them, ``chance`` (0…1, that they copy us) and ``expected_db`` (the report they would give).
* ``{"openings": {"at_ms": …, "rows": […]}}``: the data of the rows of open directions (``band``, ``direction``).
* ``{"doubtful": {"source": …, "period_ms": …, "text": …}}``: each hearing that the watch did not believe.

A figure is None where nothing came out that it could be made of. All times are event time, so a score does not depend
on the pace.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from statistics import median
from typing import Any

from watchkeeper.radio import band
from watchkeeper.radio.mode import timed
from watchkeeper.rehearsal.decoding import chance, reported_db
from watchkeeper.rehearsal.station import FADE_DB
from watchkeeper.schema.events import to_ms

Json = Mapping[str, Any]

#: kind of fault → the vitals that count as having found it
FINDS: Mapping[str, frozenset[str]] = {
    "passband": frozenset({"passband"}),
    "clock": frozenset({"clock"}),
    "drift": frozenset({"clock"}),
    "alc": frozenset({"drive"}),
    "swr": frozenset({"match"}),
    "audio": frozenset({"audio"}),
    "deaf": frozenset({"receiver"}),
    "battery": frozenset({"supply"}),
    "lossy": frozenset({"sources"}),
    "interference": frozenset({"interference"}),
}
URGENT = 3
_VITALS, _SUPPLY = "vitals", "supply"
#: two hails of one matter within this time are one too many; so are two calls of one station one approach
_HOLD_OFF_MS = 1_800_000
#: a hail may come a little after the period that made it true
_JUST_HEARD_MS = 150_000
#: a fault that is gone is still seen for a while
_AFTER_FAULT_MS = 600_000
_QUARTER_MS = 900_000
_DAY_MS = 86_400_000
#: what was advised so soon after a period began was decided before it
_PERIOD_BEGUN_MS = 500
#: fewer predictions in a tenth say nothing about it
_BIN_LEAST = 30
#: standard points and weights for the mean over a normal deviation (Gauss-Hermite, three points)
_NORMAL_POINTS = ((-1.7320508, 1 / 6), (0.0, 2 / 3), (1.7320508, 1 / 6))


@dataclass
class Outputs:
    """What came out of the watch, by kind."""

    hails: list[Json] = field(default_factory=list)
    advice: list[Json] = field(default_factory=list)
    openings: list[Json] = field(default_factory=list)
    doubtful: list[Json] = field(default_factory=list)

    @classmethod
    def of(cls, lines: Iterable[Json]) -> Outputs:
        """Sort lines by kind; kinds that are not known here are left out."""
        found = cls()
        places = {"hail": found.hails, "advice": found.advice, "openings": found.openings, "doubtful": found.doubtful}
        for line in lines:
            for kind, place in places.items():
                if kind in line:
                    place.append(line[kind])
        return found


def score(truth: Json, outputs: Iterable[Json], *, stored: int, forwarded: int) -> dict[str, Any]:
    """Return all figures of a session; ``stored`` and ``forwarded`` are the watch's counts of contacts."""
    out = Outputs.of(outputs)
    return {
        "scenario": truth["scenario"],
        "seed": truth["seed"],
        "world": truth["world"],
        "operator": truth["operator"],
        "hails": hails(truth, out.hails),
        "report": report(truth, out.advice),
        "chance": calibration(truth, out.advice),
        "vitals": vitals(truth, out.hails),
        "openings": openings(truth, out.openings),
        "phantoms": phantoms(truth, out.doubtful),
        "contacts": contacts(truth, stored, forwarded),
    }


def hails(truth: Json, found: Sequence[Json]) -> dict[str, Any]:
    """Return how right the hails of the highest level are: each says that a station calls the own one.

    ``precision``: share of them that a real call had brought about; ``recall``: share of copied approaches that got one
    in time; ``doubled``: hails of any level that came twice within half an hour; ``median_delay_s``: from the end of
    the period of the call to the hail; ``in_time``: share with time left to act.
    """
    urgent = [one for one in found if one.get("urgency") == URGENT and one.get("call") and _vital(one) is None]
    copied = _copied_calls(truth)
    right = [one for one in urgent if _since(copied.get(one["call"], []), one["at_ms"]) is not None]
    approaches = [(call, at_ms) for call, calls in copied.items() for at_ms in _approaches(calls)]
    delays: list[float] = []
    for call, at_ms in approaches:
        answered = [
            one["at_ms"] for one in urgent if one["call"] == call and 0 <= one["at_ms"] - at_ms <= _JUST_HEARD_MS
        ]
        if answered:
            delays.append(max(0.0, min(answered) - at_ms - _period_ms(truth)) / 1000)
    return {
        "precision": _share(len(right), len(urgent)),
        "recall": _share(len(delays), len(approaches)),
        "doubled": _doubled(found),
        "median_delay_s": median(delays) if delays else None,
        "in_time": _share(sum(one["at_ms"] < one["act_by_ms"] for one in urgent if "act_by_ms" in one), len(urgent)),
    }


def report(truth: Json, advice: Sequence[Json]) -> dict[str, Any]:
    """Return how far the expected report lies from the SNR that the own station really had there.

    ``…_given…`` is its distance from the reports that were given, from the 21st on.
    """
    errors = [abs(row["expected_db"] - there_db) for row, there_db in _judged(truth, advice, "expected_db")]
    errors_given = [abs(error_db) for error_db in given(truth, advice)]
    return {
        "median_abs_error_db": round(median(errors), 2) if errors else None,
        "count": len(errors),
        "median_abs_error_given_db": round(median(errors_given), 2) if errors_given else None,
        "count_given": len(errors_given),
    }


def given(truth: Json, advice: Sequence[Json], after: int = 20) -> list[float]:
    """Return by how many dB each report that was given differed from the one expected last; the first ``after`` not."""
    times = [judged["at_ms"] for judged in advice]
    found: list[float] = []
    for one in sorted(truth["reports"], key=lambda each: each["at"])[after:]:
        at = bisect_right(times, _ms(one["at"]) + _PERIOD_BEGUN_MS) - 1
        row = next((row for row in advice[at]["rows"] if row["call"] == one["by"]), None) if at >= 0 else None
        if row is not None and row.get("expected_db") is not None:
            found.append(row["expected_db"] - reported_db(one["snr_db"]))
    return found


def calibration(truth: Json, advice: Sequence[Json]) -> dict[str, Any]:
    """Return the calibration of the stated chances, as :func:`calibration_of` has it."""
    return calibration_of(forecasts(truth, advice))


def forecasts(truth: Json, advice: Sequence[Json]) -> list[tuple[float, float]]:
    """Return the stated and the real chance of every ranked row.

    Each counts as a forecast of whether a call at that moment would have been copied. The real chance is taken over the
    fading of the moment, so that luck plays no part.
    """
    return [(row["chance"], _real_chance(truth, row, there_db)) for row, there_db in _judged(truth, advice, "chance")]


def calibration_of(pairs: Sequence[tuple[float, float]]) -> dict[str, Any]:
    """Return the Brier score of forecasts, that of the best constant guess, and the worst tenth."""
    if not pairs:
        return {"brier": None, "brier_constant": None, "worst_bin_gap": None, "count": 0}
    base = sum(real for _, real in pairs) / len(pairs)
    tenths: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for said, real in pairs:
        tenths[min(9, int(said * 10))].append((said, real))
    gaps = [
        abs(sum(said - real for said, real in tenth)) / len(tenth)
        for tenth in tenths.values()
        if len(tenth) >= _BIN_LEAST
    ]
    return {
        "brier": round(sum(_brier(said, real) for said, real in pairs) / len(pairs), 4),
        "brier_constant": round(sum(_brier(base, real) for _, real in pairs) / len(pairs), 4),
        "worst_bin_gap": round(max(gaps), 3) if gaps else None,
        "count": len(pairs),
    }


def vitals(truth: Json, found: Sequence[Json]) -> dict[str, Any]:
    """Return how many injected faults were found, how soon, and how often one was told that was not there."""
    told = [(what, one["at_ms"]) for one in found if (what := _vital(one)) is not None]
    spans = list(_fault_spans(truth))
    delays: list[float] = []
    for kind, from_ms, to_ms_ in spans:
        seen = [at_ms for what, at_ms in told if what in FINDS[kind] and from_ms <= at_ms <= to_ms_ + _AFTER_FAULT_MS]
        if seen:
            delays.append((min(seen) - from_ms) / _period_ms(truth))
    false = sum(
        not any(from_ms <= at_ms <= to_ms_ + _AFTER_FAULT_MS for _, from_ms, to_ms_ in spans) for _, at_ms in told
    )
    return {
        "injected": len(spans),
        "found": len(delays),
        "false_per_day": _per_day(truth, false),
        "median_delay_periods": median(delays) if delays else None,
    }


def openings(truth: Json, found: Sequence[Json]) -> dict[str, Any]:
    """Return how long after a direction opened it was shown, and how often one was shown that was not open.

    A direction is open while an average station at any of the distances is readable; one that was open before the
    session counts from its start. One shown already when it opens, because a strong station came through sooner, was
    shown without delay. One in which nobody was on the air that could be heard does not count as missed.
    ``…_meanwhile`` leaves out those that were open before the session.
    """
    spans = _open_spans(truth)
    shown: dict[tuple[str, str], list[tuple[int, bool]]] = defaultdict(list)
    false = 0
    before: set[tuple[str, str]] = set()
    for one in found:
        rows = {(row["band"], row["direction"]) for row in one["rows"]}
        for key in sorted(rows ^ before):
            shown[key].append((one["at_ms"], key in rows))
        for key in sorted(rows - before):
            false += not any(
                from_ms - _QUARTER_MS <= one["at_ms"] <= to_ms_ + _QUARTER_MS for from_ms, to_ms_ in spans[key]
            )
        before = rows
    start_ms = _ms(truth["start"])
    delays: list[float] = []
    meanwhile: list[float] = []
    for key, ways in spans.items():
        for from_ms, to_ms_ in ways:
            delay_ms = _shown_after(shown[key], from_ms, to_ms_)
            if delay_ms is not None:
                delays.append(delay_ms / 60_000)
                meanwhile += [delay_ms / 60_000] if from_ms > start_ms else []
    return {
        "median_delay_min": round(median(delays), 1) if delays else None,
        "false_per_day": _per_day(truth, false) if found else None,
        "count": len(delays),
        "median_delay_meanwhile_min": round(median(meanwhile), 1) if meanwhile else None,
        "count_meanwhile": len(meanwhile),
    }


def _shown_after(changes: Sequence[tuple[int, bool]], from_ms: int, to_ms_: int) -> int | None:
    """Return how long after ``from_ms`` a row was shown, from when it came and went; None if not before ``to_ms_``."""
    at = bisect_right(changes, (from_ms, True))
    if at and changes[at - 1][1]:
        return 0
    return next((at_ms - from_ms for at_ms, is_shown in changes[at:] if is_shown and at_ms <= to_ms_), None)


def phantoms(truth: Json, doubtful: Sequence[Json]) -> dict[str, Any]:
    """Return which share of the disbelieved hearings were phantoms, and which share of the phantoms was disbelieved."""
    real = {(one["source"], _ms(one["at"]), one["text"]) for one in truth["phantoms"]}
    told = {(one["source"], one["period_ms"], one["text"]) for one in doubtful}
    return {"precision": _share(len(real & told), len(told)), "recall": _share(len(real & told), len(real))}


def contacts(truth: Json, stored: int, forwarded: int) -> dict[str, Any]:
    """Return how many contacts were made, stored and forwarded, and how many an hour were needed.

    Needed is the first contact of the session with an entity on a band.
    """
    entity = {station["call"]: station["dxcc"] for station in truth["stations"]}
    made = truth["contacts"]
    needed = {(one["band"], entity[one["call"]]) for one in made if one["call"] in entity}
    hours = _length_ms(truth) / 3_600_000
    return {
        "made": len(made),
        "stored": stored,
        "forwarded": forwarded,
        "needed": len(needed),
        "needed_per_hour": round(len(needed) / hours, 2),
    }


def _vital(hail: Json) -> str | None:
    """Return which vital a hail is about, or None."""
    parts = hail["key"].split("|")
    if parts[0] == _SUPPLY:
        return _SUPPLY
    return parts[1] if parts[0] == _VITALS and len(parts) > 1 else None


def _copied_calls(truth: Json) -> dict[str, list[int]]:
    """Return the starts of the periods in which each station was copied calling the own one."""
    found: dict[str, list[int]] = defaultdict(list)
    for one in truth["callers"]:
        if one["copied"]:
            found[one["call"]].append(_ms(one["at"]))
    return found


def _approaches(calls: Sequence[int]) -> Iterator[int]:
    """Yield the first of calls that belong together."""
    last_ms = None
    for at_ms in calls:
        if last_ms is None or at_ms - last_ms > _HOLD_OFF_MS:
            yield at_ms
        last_ms = at_ms


def _since(times: Sequence[int], at_ms: int) -> int | None:
    """Return the last of rising ``times`` not long before ``at_ms``, or None."""
    at = bisect_right(times, at_ms) - 1
    return times[at] if at >= 0 and at_ms - times[at] <= _JUST_HEARD_MS else None


def _doubled(found: Sequence[Json]) -> int:
    last: dict[str, int] = {}
    doubled = 0
    for one in found:
        before = last.get(one["key"])
        doubled += before is not None and one["at_ms"] - before < _HOLD_OFF_MS
        last[one["key"]] = one["at_ms"]
    return doubled


def _judged(truth: Json, advice: Sequence[Json], name: str) -> Iterator[tuple[Json, float]]:
    """Yield the rows that state ``name``, each with the SNR that the own station had there at the time."""
    reach = {key: {call: _Reach(rows) for call, rows in calls.items()} for key, calls in truth["reach"].items()}
    keys: dict[str | None, list[str]] = defaultdict(list)
    for one in truth["bands"]:
        keys[band.of(one["dial_hz"])].append(one["band"])
    for judged in advice:
        for row in judged["rows"]:
            if row.get(name) is None:
                continue
            for key in keys[row["band"]]:
                known = reach.get(key, {}).get(row["call"])
                there_db = known.at(judged["at_ms"]) if known is not None else None
                if there_db is not None:
                    yield row, there_db
                    break


class _Reach:
    """The SNR there of one station, by quarter hours."""

    def __init__(self, rows: Sequence[Sequence[Any]]) -> None:
        self._times = [_ms(row[0]) for row in rows]
        self._there = [float(row[2]) for row in rows]

    def at(self, at_ms: int) -> float | None:
        """Return the SNR at the last quarter hour before, if that is not long ago."""
        at = bisect_right(self._times, at_ms) - 1
        return self._there[at] if at >= 0 and at_ms - self._times[at] <= _QUARTER_MS + 60_000 else None


def _real_chance(truth: Json, row: Json, there_db: float) -> float:
    """Return the chance of a decode there, the mean over the fading of the moment."""
    found = timed(row.get("mode") or truth["bands"][0]["mode"])
    limit_db = found.limit_db if found is not None else -21.0
    return sum(weight * chance(there_db + FADE_DB * point, limit_db) for point, weight in _NORMAL_POINTS)


def _brier(said: float, real: float) -> float:
    """Return the expected square of the difference between a forecast and an outcome of chance ``real``."""
    return (said - real) ** 2 + real * (1 - real)


def _fault_spans(truth: Json) -> Iterator[tuple[str, int, int]]:
    start_ms, end_ms = _ms(truth["start"]), _ms(truth["end"])
    for one in truth["faults"]:
        from_ms = start_ms + round(one["from_s"] * 1000)
        if one["kind"] in FINDS and from_ms < end_ms:
            yield one["kind"], from_ms, min(end_ms, start_ms + round(one["to_s"] * 1000))


def _open_spans(truth: Json) -> dict[tuple[str, str], list[tuple[int, int]]]:
    """Return when each direction of a band was open at any distance, spans that touch joined."""
    name = {one["band"]: band.of(one["dial_hz"]) or "" for one in truth["bands"]}
    spans: dict[tuple[str, str], list[tuple[int, int]]] = defaultdict(list)
    for one in sorted(truth["openings"], key=lambda each: each["from"]):
        ways = spans[name[one["band"]], one["sector"]]
        from_ms, to_ms_ = _ms(one["from"]), _ms(one["to"])
        if ways and from_ms <= ways[-1][1]:
            ways[-1] = ways[-1][0], max(ways[-1][1], to_ms_)
        else:
            ways.append((from_ms, to_ms_))
    return spans


def _period_ms(truth: Json) -> int:
    found = timed(truth["bands"][0]["mode"])
    return round(found.period_s * 1000) if found is not None else 15_000


def _length_ms(truth: Json) -> int:
    return _ms(truth["end"]) - _ms(truth["start"])


def _per_day(truth: Json, count: int) -> float:
    return round(count * _DAY_MS / _length_ms(truth), 2)


def _share(part: int, whole: int) -> float | None:
    return round(part / whole, 4) if whole else None


def _ms(text: str) -> int:
    return to_ms(datetime.fromisoformat(text))
