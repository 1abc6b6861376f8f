"""How a report of us follows from what we hear: a robust running median per band, per station drawn towards it.

The path loses as much either way, so report and hearing differ by powers, noises and decoders only. What is estimated:

* per band the usual excess of a report over our own hearing, as the median over stations, and how surely so many of
  them tell it. A report exists only where somebody decoded us, so each one is read as drawn from a normal distribution
  cut off at the decoding limit: its *excess* is the centre of the distribution of which it is the median. Reports at
  the displayed floor keep their rank in the median and no more.
* per station its own difference, as far as it has reported us, weighed against the band's by their variances.
* per source of our hearings a constant bias, drawn towards none.

A call of the next minutes meets the slow fading anew, which is therefore in every spread beside what is not known.

All powers are in dBW. No clock and no state but what is entered.
"""

from __future__ import annotations

from bisect import insort
from collections import OrderedDict
from collections.abc import Iterable
from math import erf, exp, pi, sqrt
from statistics import NormalDist
from typing import NamedTuple

import msgspec

from watchkeeper.radio import link

from .levels import FADING_DB, Around, fading_var, median_db

_NORMAL = NormalDist()
#: the power that stands for one of ours that nobody told
_UNKNOWN_W = 50.0
#: differences of power and antenna between stations, of the paths within an area, and of those from area to area, as
#: variances in dB² (common practice, no source)
POWER_VAR = 32.0
PATH_VAR = 30.0
AREAS_VAR = 60.0
#: spread of a report round what the band and the area let expect: first guess, and how many reports it counts as
SPREAD_DB = 7.0
SPREAD_WEIGHT = 15
#: the prior of the band's excess: its spread, and how many stations it counts as
PRIOR_DB = 6.0
PRIOR_WEIGHT = 4
#: rounding and reading of one report
READING_VAR = 1.5
#: a call of ours meets the fading of its own moment, which our hearing of minutes says little about
_CALL_VAR = FADING_DB**2 + READING_VAR
#: the variance of the median of n normal values is so many n-ths of theirs
_MEDIAN_VAR = pi / 2
#: what neighbours on top of a signal take from our hearing of it, and how fast paths change, as variances in dB²
#: (common practice, no source)
DISTURBED_VAR = 8.0
DRIFT_VAR_PER_H = 60.0
#: reports so old count half
HALF_LIFE_MS = 2 * 3_600_000
MOST_STATIONS = 400
#: a bias counts in full only when borne out by many times this number of reports
BIAS_WEIGHT = 10
#: how far from the limit single transmissions still decode or not: the softness of the decoding curve as a deviation,
#: that of a logistic curve of 1 dB as in ``radio.link``
SOFT_DB = pi / sqrt(3)
#: the share of stations of which levels say nothing, and the chance of all together (found on simulated evenings)
STRANGERS, USUAL_CHANCE = 0.04, 0.85


class Pair(NamedTuple):
    """One report of us with what we heard of its station: all levels in dB, the report as for 1 W of ours."""

    at_ms: int
    call: str
    report_db: float
    limit_db: float
    heard_db: float
    around: Around
    gap_ms: int
    source: str
    at_floor: bool


class Expected(msgspec.Struct, frozen=True):
    """A report to come: its mean and standard deviation in dB for 1 W of ours."""

    mean_db: float
    spread_db: float
    reports: int
    newest_ms: int | None
    own_reports: int


class _Own(NamedTuple):
    """A station's own difference between report and hearing, how sure it is, and the level of its reports for 1 W."""

    at_ms: int
    difference_db: float
    level_db: float
    variance: float
    reports: int


def mixed_db(heard_db: float, around: Around) -> float:
    """The level that stands for the path: a station's own, moved towards that of its area, and this to the band's.

    Whoever is stronger than all round it has more power, and hears us no better for that.
    """
    area, band = around.area, around.band
    if band is None:
        return heard_db
    level_db, level_var = band.median_db, AREAS_VAR
    if area is not None:
        share = AREAS_VAR / (AREAS_VAR + (POWER_VAR + PATH_VAR) / area.stations)
        level_db += share * (area.median_db - level_db)
        level_var *= 1 - share
    own_weight = (level_var + PATH_VAR) / (level_var + PATH_VAR + POWER_VAR)
    return own_weight * heard_db + (1 - own_weight) * level_db


class BandEstimate:
    """One band. ``prior_db``: the excess to expect of 1 W before any report."""

    def __init__(self, prior_db: float) -> None:
        self._prior_db = prior_db
        self._latest: OrderedDict[str, tuple[Pair, float]] = OrderedDict()
        self._own: OrderedDict[str, _Own] = OrderedDict()
        self._excess_db = prior_db
        self._spread_db = SPREAD_DB
        self._excess_var = PRIOR_DB**2
        self._source_bias: dict[str, float] = {}
        self._reports = 0
        self._newest_ms: int | None = None
        self._stale = False

    @property
    def reports(self) -> int:
        """How many reports were entered."""
        return self._reports

    def enter(self, pair: Pair) -> None:
        """Take in one report."""
        self._reports += 1
        self._newest_ms = max(pair.at_ms, self._newest_ms or 0)
        self._latest[pair.call] = pair, self._excess_of(pair)
        self._latest.move_to_end(pair.call)
        if len(self._latest) > MOST_STATIONS:
            self._latest.popitem(last=False)
        self._enter_own(pair)
        self._stale = True

    def _enter_own(self, pair: Pair) -> None:
        variance = READING_VAR + fading_var(pair.gap_ms)
        difference_db = pair.report_db - pair.heard_db
        level_db = median_db(round(pair.report_db, 1), round(pair.limit_db, 1))
        reports = 1
        before = self._own.pop(pair.call, None)
        if before is not None:
            old_var = before.variance * 2 ** ((pair.at_ms - before.at_ms) / HALF_LIFE_MS)
            share = old_var / (old_var + variance)
            difference_db = before.difference_db + share * (difference_db - before.difference_db)
            # never surer than one good reading: what differs between decoders does not average out
            variance = max(1.0, share * variance)
            reports = before.reports + 1
            level_db = before.level_db + (level_db - before.level_db) / min(reports, 4)
        self._own[pair.call] = _Own(pair.at_ms, difference_db, level_db, variance, reports)
        if len(self._own) > MOST_STATIONS:
            self._own.popitem(last=False)

    def _reckon(self, now_ms: int) -> None:
        """The band's excess, its spread and the biases anew from the newest report of each station."""
        prior = NormalDist(self._prior_db, PRIOR_DB)
        anchors = [(prior.inv_cdf((at + 0.5) / PRIOR_WEIGHT), 1.0) for at in range(PRIOR_WEIGHT)]
        found = list(self._latest.values())
        weighted = [(excess_db, 2 ** ((pair.at_ms - now_ms) / HALF_LIFE_MS)) for pair, excess_db in found]
        self._excess_db = _weighted_median([*anchors, *weighted])
        self._source_bias = _biases([(pair.source, excess_db - self._excess_db) for pair, excess_db in found])
        self._spread_db = self._spread_of([pair for pair, _ in found])
        counted = sum(weight for _, weight in weighted)
        self._excess_var = 1 / (1 / PRIOR_DB**2 + counted / (_MEDIAN_VAR * self._spread_db**2))
        self._stale = False

    @staticmethod
    def _excess_of(pair: Pair) -> float:
        """The excess for which this report is the median of all that can be given. Bounded: none decides alone."""
        base_db = mixed_db(pair.heard_db, pair.around)
        if pair.at_floor:
            return pair.report_db - base_db - 4 * SPREAD_DB
        low, high = pair.report_db - base_db - 4 * SPREAD_DB, pair.report_db - base_db
        for _ in range(12):
            middle = (low + high) / 2
            if _cut_share(pair.report_db, base_db + middle, SPREAD_DB, pair.limit_db) > 0.5:
                low = middle
            else:
                high = middle
        return (low + high) / 2

    def _spread_of(self, pairs: Iterable[Pair]) -> float:
        """The spread from how the reports lie in their cut-off distributions, drawn towards the first guess."""
        scores = []
        for pair in pairs:
            mean_db = mixed_db(pair.heard_db, pair.around) + self._excess_db
            share = _cut_share(pair.report_db, mean_db, SPREAD_DB, pair.limit_db)
            scores.append(abs(_NORMAL.inv_cdf(min(0.999, max(0.001, share)))))
        if not scores:
            return SPREAD_DB
        scores.sort()
        found_db = SPREAD_DB * max(0.6, min(1.6, scores[len(scores) // 2] / 0.6745))
        variance = (SPREAD_WEIGHT * SPREAD_DB**2 + len(scores) * found_db**2) / (SPREAD_WEIGHT + len(scores))
        return sqrt(variance)

    def expect(self, call: str, heard_db: float, around: Around, now_ms: int, source: str) -> Expected:
        """The report that ``call``, heard at ``heard_db`` now, would give 1 W of ours."""
        if self._stale:
            self._reckon(self._newest_ms or now_ms)
        mean_db = mixed_db(heard_db, around) + self._excess_db + self._source_bias.get(source, 0.0)
        variance = self._spread_db**2 + self._excess_var
        own = self._own.get(call)
        newest_ms, own_reports = self._newest_ms, 0
        if own is not None:
            # its own reports, getting less sure with time, against what the band lets expect
            own_var = own.variance * 2 ** ((now_ms - own.at_ms) / HALF_LIFE_MS)
            share = variance / (variance + own_var)
            mean_db += share * (_own_level_db(own, heard_db, own_var, now_ms) - mean_db)
            variance *= 1 - share
            newest_ms, own_reports = own.at_ms, own.reports
        return Expected(mean_db, sqrt(variance + _CALL_VAR), self._reports, newest_ms, own_reports)


def _own_level_db(own: _Own, heard_db: float, own_var: float, now_ms: int) -> float:
    """The report to expect by its own reports: as they stood to our hearing, and as they were themselves.

    What we hear of a path that got better is no accident; a weak hearing may be a neighbour's fault.
    """
    by_hearing_db = heard_db + own.difference_db
    by_hearing_var = own_var + (DISTURBED_VAR if by_hearing_db < own.level_db else 0.0)
    by_level_var = (2 * FADING_DB**2 + READING_VAR) / min(own.reports, 4) + DRIFT_VAR_PER_H * (
        now_ms - own.at_ms
    ) / 3.6e6
    share = by_hearing_var / (by_hearing_var + by_level_var)
    return by_hearing_db + share * (own.level_db - by_hearing_db)


def chance_of(expected_db: float, spread_db: float, limit_db: float) -> float:
    """The chance that one transmission decodes where the limit, at one half, is ``limit_db``.

    For a few stations no level that we know of says anything: a beam that was turned, a noise that began, a weak
    hearing that was a neighbour's fault. They have the chance that all have, so nobody's is nothing, and nobody's sure.
    """
    by_levels = _below((expected_db - limit_db) / sqrt(spread_db**2 + SOFT_DB**2))
    return (1 - STRANGERS) * by_levels + STRANGERS * USUAL_CHANCE


def dbw(power_w: float | None) -> float:
    """A power of ours in dBW; what is usual where nobody told it."""
    return link.ratio_to_db(power_w or _UNKNOWN_W)


def _below(z: float) -> float:
    return 0.5 * (1 + erf(z / sqrt(2)))


def _cut_share(value_db: float, mean_db: float, spread_db: float, limit_db: float) -> float:
    """The share below ``value_db`` of a normal distribution of which only what lies above ``limit_db`` is seen."""
    at_limit, at_value = (limit_db - mean_db) / spread_db, (value_db - mean_db) / spread_db
    if at_limit > 6:  # far in the tail the exponential approximation holds, and the exact form has no digits left
        return 1 - exp(-max(0.0, at_value - at_limit) * at_limit)
    seen = 1 - _below(at_limit)
    return max(0.0, _below(at_value) - _below(at_limit)) / seen


def _weighted_median(values: list[tuple[float, float]]) -> float:
    values = sorted(values)
    half = sum(weight for _, weight in values) / 2
    passed = 0.0
    for at, (value, weight) in enumerate(values):
        passed += weight
        if passed > half or at == len(values) - 1:
            return value
    raise ValueError("no values")


def _biases(tagged: list[tuple[str, float]]) -> dict[str, float]:
    """The median residual of each tag where there are several, drawn towards none."""
    by_tag: dict[str, list[float]] = {}
    for tag, residual_db in tagged:
        insort(by_tag.setdefault(tag, []), residual_db)
    if len(by_tag) < 2:
        return {}
    return {tag: values[len(values) // 2] * len(values) / (len(values) + BIAS_WEIGHT) for tag, values in by_tag.items()}
