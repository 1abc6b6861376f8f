"""The plugin: pairs reports of us with what we hear, notes the report to expect, and shows who hears us."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict

from watchkeeper.api import Context, Event, Hearing, Own, Reception, Sent, Station, hookimpl, to_ms
from watchkeeper.radio import band as bands
from watchkeeper.radio import entity, geodesic, locator, mode, noise
from watchkeeper.radio.message import matches_own, reports_own
from watchkeeper.radio.place import Point
from watchkeeper.view import View

from .changes import Change, Changes
from .estimate import BandEstimate, Expected, Pair, chance_of, dbw
from .levels import FADING_DB, BandLevels, Level, median_db
from .notes import ReachNote
from .reports import Report, Reports
from .settings import ReachConfig
from .views import draw

#: a hearing at the least that is displayed may be weaker: by so much on the average (common practice, no source)
_BELOW_FLOOR_DB = 1.5
#: a report in a message comes from somebody who has chosen us among those it copied: the weakest are passed over
#: (common practice, no source)
_CHOSEN_DB = 2.0
#: a report exists where any transmission of some minutes was decoded, not that one alone: a path so much worse still
#: has its moments (one deviation of the fading: common practice, no source)
_BEST_DB = FADING_DB
MOST_POWERS = 200
MOST_BANDS = 40


class Reach:
    """Says who hears us, and how well a station would."""

    name = "reach"
    api = 1
    Config = ReachConfig
    provides = (ReachNote,)

    def __init__(self, config: ReachConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._levels: dict[str, BandLevels] = defaultdict(BandLevels)
        self._bands: dict[str, BandEstimate] = {}
        self._reports = Reports(round(config.shown_min * 60_000))
        self._changes = Changes()
        #: (since when, our power in dBW), oldest first
        self._powers: list[tuple[int, float]] = []
        self._own: Own | None = None
        self._drawn: tuple[int, int, str | None] | None = None
        self._views: tuple[View, ...] = ()

    # -- evidence -----------------------------------------------------------------------------------------------------

    @hookimpl
    def annotate(self, hearing: Hearing) -> ReachNote | None:
        """Remember the level, take in a report to us, and say what report to expect."""
        call, timed, own = hearing.call, mode.timed(hearing.mode), self._context.own
        if call is None or hearing.band is None or timed is None or matches_own(own.call or "", call):
            return None
        levels, at_floor = self._levels[hearing.band], hearing.snr_db <= timed.floor_db
        area = _area_of(hearing)
        if hearing.live and hearing.credibility.credible:
            level = Level(hearing.period_ms, hearing.snr_db, hearing.source, at_floor)
            levels.heard(call, area, level)
            if hearing.to_me:
                self._reported_to_us(hearing, call, timed.limit_db)
        least_db = timed.floor_db - _BELOW_FLOOR_DB
        heard_db = levels.lately(call, hearing.period_ms, least_db)
        if heard_db is None:
            heard_db = least_db if at_floor else hearing.snr_db
        heard_db = median_db(round(heard_db, 1), timed.limit_db)
        around = levels.around(area, hearing.period_ms)
        now_ms = self._context.now_ms
        expected = self._band(hearing.band, hearing.dial_hz).expect(call, heard_db, around, now_ms, hearing.source)
        return _note(expected, own.power_w, timed.limit_db, now_ms)

    def _reported_to_us(self, hearing: Hearing, call: str, limit_db: float) -> None:
        """A report in a message to us: of our transmission in the period before."""
        parts = [
            part for part in hearing.reading.all_parts if matches_own(self._context.own.call or "", part.addressee)
        ]
        for part in parts:
            if part.report_db is not None and hearing.band is not None:
                at_ms = hearing.period_ms
                self._enter(
                    Report(
                        at_ms=at_ms,
                        call=call,
                        band=hearing.band,
                        report_db=float(part.report_db),
                        heard_db=hearing.snr_db,
                        power_dbw=self._power_at(at_ms),
                        way="report",
                        locator=hearing.locator,
                        distance_km=hearing.distance_km,
                        azimuth_deg=hearing.azimuth_deg,
                    ),
                    hearing.mode,
                    hearing.dial_hz,
                )

    @hookimpl
    def event_seen(self, event: Event) -> None:
        """Receptions of us by others, and our own power and antenna."""
        if isinstance(event, Station | Sent):
            self._own_station(event)
        elif isinstance(event, Reception):
            self._received(event)

    def _own_station(self, event: Station | Sent) -> None:
        own, at_ms = self._context.own, to_ms(event.at)
        if own.power_w is not None:
            power_dbw = dbw(own.power_w)
            if not self._powers or (self._powers[-1][1] != power_dbw and at_ms >= self._powers[-1][0]):
                self._powers.append((at_ms, power_dbw))
                del self._powers[:-MOST_POWERS]
        before, self._own = self._own, own
        # what changed at once has one effect
        what = [] if before is None else _changed(before, own)
        if what:
            self._changes.mark(Change(at_ms, " and ".join(what)))

    def _received(self, event: Reception) -> None:
        own_call = self._context.own.call or ""
        if not reports_own(own_call, event.call):
            return
        on_band, call = bands.of(event.dial_hz), event.by_call.upper()
        if on_band is None or mode.timed(event.mode) is None or matches_own(own_call, call):
            return
        at_ms = to_ms(event.at)
        at_ms -= at_ms % 1000
        level = self._levels[on_band].near(call, at_ms)
        distance_km, azimuth_deg = self._way_to(call, event.by_locator)
        self._enter(
            Report(
                at_ms=at_ms,
                call=call,
                band=on_band,
                report_db=event.snr_db,
                heard_db=None if level is None else level.snr_db,
                power_dbw=self._power_at(at_ms),
                way="reception",
                locator=event.by_locator,
                distance_km=distance_km,
                azimuth_deg=azimuth_deg,
            ),
            event.mode,
            event.dial_hz,
        )

    def _enter(self, report: Report, in_mode: str, dial_hz: int) -> None:
        """Keep the report for the views, and pair it with our own hearing of its station where there is one."""
        if not self._reports.add(report):
            return
        self._changes.reported(report)
        timed = mode.timed(in_mode)
        levels = self._levels[report.band]
        level = levels.near(report.call, report.at_ms)
        if timed is None or level is None or level.at_floor:
            return
        around = levels.around(None if report.locator is None else report.locator[:2].upper(), level.at_ms)
        pair = Pair(
            at_ms=report.at_ms,
            call=report.call,
            report_db=report.report_db - report.power_dbw,
            limit_db=timed.limit_db - _BEST_DB + (_CHOSEN_DB if report.way == "report" else 0.0) - report.power_dbw,
            heard_db=level.snr_db,
            around=around,
            gap_ms=abs(level.at_ms - report.at_ms),
            source=level.source,
            at_floor=report.report_db <= timed.floor_db,
        )
        self._band(report.band, dial_hz).enter(pair)

    def _band(self, name: str, dial_hz: int) -> BandEstimate:
        found = self._bands.get(name)
        if found is None:
            config = self._config
            # what we hear already has our noise in it: it counts against us where ours is the greater
            quieter_db = noise.difference_db(config.surroundings, config.their_surroundings, max(1, dial_hz))
            if len(self._bands) >= MOST_BANDS:
                del self._bands[next(iter(self._bands))]
            found = self._bands[name] = BandEstimate(quieter_db - dbw(config.their_power_w))
        return found

    def _power_at(self, at_ms: int) -> float:
        """Our power then in dBW, as it was told."""
        if not self._powers:
            return dbw(self._context.own.power_w)
        at = bisect_right(self._powers, (at_ms, float("inf"))) - 1
        return self._powers[max(0, at)][1]

    def _way_to(self, call: str, their_locator: str | None) -> tuple[float | None, float | None]:
        own = self._context.own.locator
        if own is None:
            return None, None
        if their_locator is not None and locator.is_locator(their_locator):
            path = geodesic.between(own, their_locator)
            return path.distance_km, path.azimuth_deg
        placed = entity.lookup(call)
        if placed.latitude is None or placed.longitude is None:
            return None, None
        path = geodesic.inverse(locator.centre(own), Point(placed.latitude, placed.longitude))
        return path.distance_km, path.azimuth_deg

    # -- views --------------------------------------------------------------------------------------------------------

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """Who hears us; drawn anew when there is another report, or another minute."""
        as_of = (self._reports.version, self._context.now_ms // 60_000, self._context.own.locator)
        if as_of != self._drawn:
            self._drawn = as_of
            self._views = draw(self._reports, self._changes, self._context.own, self._context.now_ms)
        return self._views


def _note(expected: Expected, power_w: float | None, limit_db: float, now_ms: int) -> ReachNote:
    expected_db = expected.mean_db + dbw(power_w)
    age_ms = None if expected.newest_ms is None else max(0, now_ms - expected.newest_ms)
    return ReachNote(
        power_w=power_w,
        limit_db=limit_db,
        expected_db=expected_db,
        spread_db=expected.spread_db,
        chance=chance_of(expected_db, expected.spread_db, limit_db),
        evidence=_evidence(expected, age_ms),
        age_ms=age_ms,
        own=expected.own_reports > 0,
    )


def _area_of(hearing: Hearing) -> str | None:
    """The field of the locator (20° by 10°), else the entity."""
    if hearing.locator is not None:
        return hearing.locator[:2].upper()
    placed = hearing.placed
    return None if placed is None or placed.entity is None else str(placed.entity.code)


def _changed(before: Own, after: Own) -> list[str]:
    """What the operator changed, in words."""
    found = []
    if before.power_w is not None and after.power_w is not None and before.power_w != after.power_w:
        found.append(f"power from {before.power_w:g} W to {after.power_w:g} W")
    if before.antenna is not None and after.antenna is not None and before.antenna != after.antenna:
        found.append(f"antenna from {before.antenna} to {after.antenna}")
    return found


def _evidence(expected: Expected, age_ms: int | None) -> str:
    if age_ms is None:
        return "no evidence yet: from power and usual noise alone"
    age = "just now" if age_ms < 60_000 else f"{age_ms // 60_000} min ago"
    if expected.own_reports:
        return f"reported you {age}" if expected.own_reports == 1 else f"reported you, last {age}"
    return f"from {expected.reports} report{'s' if expected.reports > 1 else ''} of others, last {age}"
