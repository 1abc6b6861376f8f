"""The plugin: hails what the rules wait for, ranks whom to call, says where to send, and shows who is on the air."""

from __future__ import annotations

from collections.abc import Iterable

from watchkeeper.api import Contact, Context, Event, Hearing, OnAir, Own, Period, Tuning, Urgency, hookimpl
from watchkeeper.radio.message import matches_own
from watchkeeper.view import View
from watchkeeper_reach import ReachNote
from watchkeeper_worked import WorkedNote

from .explaining import explain
from .hailing import Hailer
from .notes import LookoutNote
from .offset import Spectrum
from .ranking import Ranked, Ranker
from .rules import LookoutConfig, Match, Matcher
from .tables import air_table, ranked_table, sending_gauges

#: rows of the On the air panel
_SHOWN = 100


class Lookout:
    """Raises whom the operator's rules wait for."""

    name = "lookout"
    api = 1
    Config = LookoutConfig
    needs = (WorkedNote,)
    wants = (ReachNote,)
    provides = (LookoutNote,)

    def __init__(self, config: LookoutConfig, context: Context) -> None:
        self._config = config
        self._context = context
        rules = (Matcher(rule) for rule in config.rule)
        self._rules = tuple(sorted(rules, key=lambda rule: (-rule.urgency, rule.rule.name)))
        self._ranker = Ranker(config.weights, config.goals, context)
        self._hailer = Hailer(self._rules, config, context)
        self._spectrum = Spectrum()
        self._top: str | None = None
        #: the band that was judged last
        self._band: str | None = None
        #: call → when it was last heard before its contact was logged: until heard again, its notes are out of date
        self._logged: dict[str, int] = {}
        #: what the views were drawn from; None once anything was heard, sent, told or logged since
        self._drawn: tuple[int, Own] | None = None
        self._views: tuple[View, ...] = ()

    # -- hails --------------------------------------------------------------------------------------------------------

    @hookimpl
    def annotate(self, hearing: Hearing) -> LookoutNote | None:
        """The rules that match, whether or not they may hail."""
        self._drawn = None
        if hearing.call is None:
            return None
        worked = hearing.note(WorkedNote)
        self._hailer.heard(hearing, worked)
        found: list[tuple[Matcher, Match]] | None = None
        for rule in self._rules:  # nearly all hearings match none: nothing is made for those
            match = rule.match(hearing, worked)
            if match is not None:
                found = [*(found or ()), (rule, match)]
        if found is None or matches_own(self._context.own.call or "", hearing.call):
            return None
        return LookoutNote(
            rules=tuple([rule.rule.name for rule, _ in found]),
            reasons=tuple([match.why for _, match in found]),
            matters=tuple([match.matter for _, match in found]),
            urgency=found[0][0].urgency,
            by_need=all(rule.by_need for rule, _ in found),
        )

    @hookimpl
    def burst_judged(self, period: Period) -> None:
        """Hail what the burst brought, on the first credible evidence."""
        self._ranker.begin()
        self._hailer.judge(period, self._ranker)
        if not period.closed:  # else its end comes right behind
            self._settle(period)

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Time has gone on, even if nothing was heard."""
        self._spectrum.closed(period)
        self._band = period.band
        self._hailer.escalate()
        self._settle(period)

    @hookimpl
    def contact_logged(self, contact: Contact) -> None:
        """Who was worked is no longer wanted, until it is heard again and judged by the new log."""
        self._hailer.settled(contact.call)
        station = self._context.station(contact.call)
        if station is not None:
            self._logged[contact.call] = station.last_ms
        if contact.call == self._top:
            self._top = None
        self._drawn = None

    @hookimpl
    def event_seen(self, event: Event) -> None:
        """Our own calls and moves change whom it is good to call."""
        self._drawn = None
        if isinstance(event, Tuning):
            self._spectrum.tuned(event)

    def _settle(self, period: Period) -> None:
        """Decide whose advice stands on top. At judgements only, so that it does not hang on who looks when.

        Who was not heard now only falls behind, so it is enough to hold the new ones against the one on top.
        """
        self._drawn = None
        context = self._context
        if self._logged:
            known = ((call, context.station(call), at) for call, at in self._logged.items())
            self._logged = {call: at for call, row, at in known if row is not None and row.last_ms == at}
        calls = dict.fromkeys([self._top, *(hearing.call for hearing in period.fresh)])
        rows = [row for call in calls if call is not None and (row := context.station(call)) is not None]
        ranked = self._ranked(rows)
        if not ranked or not ranked[0].ready or all(each.station.call != self._top for each in ranked):
            ranked = self._ranked(context.stations())
        self._top = ranked[0].station.call if ranked else None
        self._ranker.end()

    def _ranked(self, stations: Iterable[OnAir]) -> list[Ranked]:
        """The stations worth calling, best first; the advice on top stays there unless another is clearly better."""
        ranked = self._ranker.rank(station for station in stations if station.call not in self._logged)
        held = next((each for each in ranked if each.station.call == self._top), None)
        if held is not None and held.ready and ranked[0].score <= held.score * self._config.stays:
            ranked.remove(held)
            ranked.insert(0, held)
        return ranked

    # -- views --------------------------------------------------------------------------------------------------------

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """The ranked list, where to send, and all stations: drawn when somebody looks."""
        as_of = (self._context.now_ms, self._context.own)
        if as_of != self._drawn:
            self._drawn = as_of
            self._views = self._draw(self._context.now_ms)
        return self._views

    def _draw(self, now_ms: int) -> tuple[View, ...]:
        stations = list(self._context.stations())
        ranked = self._ranked(stations)
        known = {each.station.call: (each.why, each.urgency) for each in ranked}
        known |= dict.fromkeys(self._logged, ("worked just now", Urgency.CALM))
        top = ranked[0].station if ranked else None
        sending = sending_gauges(self._spectrum, self._context.own, self._band, top, now_ms)
        return (
            ranked_table(ranked[: self._config.shown], self._spectrum, now_ms),
            *(() if sending is None else (sending,)),
            air_table(stations[:_SHOWN], known, now_ms),
        )

    # -- why ----------------------------------------------------------------------------------------------------------

    @hookimpl
    def explain(self, call: str) -> list[str]:
        """Why ``call`` did hail and why not, rule by rule, and how it stands in the ranked list."""
        station = self._context.station(call)
        if station is None:
            return [f"{call} was not heard in the last quarter of an hour"]
        ranked = self._ranked(list(self._context.stations()))
        return explain(station, self._rules, self._hailer, self._ranker, ranked, self._context)
