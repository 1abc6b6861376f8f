"""The plugin: hails what the rules wait for, ranks whom to call, and shows who is on the air."""

from __future__ import annotations

from collections.abc import Iterable

from watchkeeper.api import Contact, Context, Hail, Hearing, OnAir, Own, Period, Urgency, hookimpl
from watchkeeper.radio.message import matches_own
from watchkeeper.view import Column, Panel, Row, Table, View
from watchkeeper_worked import WorkedNote, band_words

from .notes import LookoutNote
from .ranking import Ranked, act_by_ms, age_words, db_words, doing_words, excludes, rank, sentence, strength_words
from .rules import LookoutConfig, Matcher

#: a station must beat the one now on top by this factor: advice that jumps is no advice
_CLEARLY = 1.2
#: rows of the On the air panel
_SHOWN = 200


class Lookout:
    """Raises whom the operator's rules wait for."""

    name = "lookout"
    api = 1
    Config = LookoutConfig
    needs = (WorkedNote,)
    provides = (LookoutNote,)

    def __init__(self, config: LookoutConfig, context: Context) -> None:
        self._config = config
        self._context = context
        rules = (Matcher(rule) for rule in config.rule)
        self._rules = tuple(sorted(rules, key=lambda rule: (-rule.urgency, rule.name)))
        self._top: str | None = None
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
        found: list[tuple[Matcher, str]] | None = None
        for rule in self._rules:  # nearly all hearings match none: nothing is made for those
            why = rule.reason(hearing, worked)
            if why is not None:
                found = [*(found or ()), (rule, why)]
        if found is None or matches_own(self._context.own.call or "", hearing.call):
            return None
        return LookoutNote(
            rules=tuple(rule.name for rule, _ in found),
            reasons=tuple(why for _, why in found),
            urgency=found[0][0].urgency,
        )

    @hookimpl
    def burst_judged(self, period: Period) -> None:
        """Hail what the burst brought, on the first credible evidence."""
        for hearing in period.fresh:
            note = hearing.note(LookoutNote)
            if note is not None and hearing.live and hearing.credibility.credible:
                station = self._context.station(hearing.call or "")
                if station is None or not excludes(station, self._context.own):
                    self._hail(hearing, note, station)
        if not period.closed:  # else its end comes right behind
            self._settle(period)

    def _hail(self, hearing: Hearing, note: LookoutNote, station: OnAir | None) -> None:
        """One hail a station and matter: the most urgent rule speaks, the others are its further reasons."""
        rule = next(rule for rule in self._rules if rule.name == note.rules[0])
        self._context.hail(
            Hail(
                key=f"lookout|{rule.name}|{hearing.call}|{hearing.band or hearing.dial_hz}",
                urgency=rule.urgency,
                sentence=_said(note.reasons[0], hearing, station),
                rule=rule.name,
                at_ms=self._context.now_ms,
                call=hearing.call,
                band=hearing.band,
                reasons=tuple(dict.fromkeys(note.reasons)),
                act_by_ms=act_by_ms(hearing.period_ms, hearing.mode, self._context.now_ms),
                hold_off_min=rule.hold_off_min,
            )
        )

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Time has gone on, even if nothing was heard."""
        self._settle(period)

    @hookimpl
    def contact_logged(self, contact: Contact) -> None:
        """Who was worked is no longer wanted, until it is heard again and judged by the new log."""
        station = self._context.station(contact.call)
        if station is not None:
            self._logged[contact.call] = station.last_ms
        if contact.call == self._top:
            self._top = None
        self._drawn = None

    @hookimpl
    def event_seen(self) -> None:
        """Our own calls and moves change whom it is good to call."""
        self._drawn = None

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
        if self._top is None or all(each.station.call != self._top for each in ranked):
            ranked = self._ranked(context.stations())
        self._top = ranked[0].station.call if ranked else None

    def _ranked(self, stations: Iterable[OnAir]) -> list[Ranked]:
        """The stations worth calling, best first; the advice on top stays there unless another is clearly better."""
        open_ones = (station for station in stations if station.call not in self._logged)
        ranked = rank(open_ones, self._context.own, self._context.now_ms)
        held = next((each for each in ranked if each.station.call == self._top), None)
        if held is not None and ranked[0].score <= held.score * _CLEARLY:
            ranked.remove(held)
            ranked.insert(0, held)
        return ranked

    # -- views --------------------------------------------------------------------------------------------------------

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """The ranked list, and all stations: drawn when somebody looks."""
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
        return _ranked_table(ranked[: self._config.shown], now_ms), _air_table(stations[:_SHOWN], known, now_ms)


def _said(reason: str, hearing: Hearing, station: OnAir | None) -> str:
    strength = strength_words(hearing.snr_db)
    place = hearing.placed.entity.name if hearing.placed and hearing.placed.entity else None
    if hearing.to_me:
        where = f" ({place})" if place else ""
        why = "" if reason == "calls you" else f", {reason}"
        return f"{hearing.call}{where} calls you on {band_words(hearing.band)}{why}: {strength}"
    doing = doing_words(station) if station is not None else "heard"
    return f"{reason}: {hearing.call}, {doing}, {strength}"


def _ranked_table(ranked: list[Ranked], now_ms: int) -> Table:
    return Table(
        name="lookout.ranked",
        panel=Panel.LOOKOUT,
        title="Whom to call",
        rank=10,
        at_ms=max((each.station.last_ms for each in ranked), default=None),
        columns=(
            Column(key="call", title="call", keep=1),
            Column(key="why", title="why", keep=2),
            Column(key="doing", title="doing", keep=3),
            Column(key="strength", title="strength", keep=4),
            Column(key="chance", title="chance", right=True, keep=6),
            Column(key="age", title="heard", right=True, keep=5),
        ),
        rows=tuple(_ranked_row(each, now_ms) for each in ranked),
        empty="nobody new to call",
    )


def _ranked_row(ranked: Ranked, now_ms: int) -> Row:
    station = ranked.station
    return Row(
        key=station.call,
        cells=(
            station.call,
            ranked.why,
            doing_words(station),
            strength_words(station.snr_db),
            "" if ranked.chance is None else f"{100 * ranked.chance:.0f} %",
            age_words(now_ms - station.last_ms),
        ),
        urgency=ranked.urgency,
        sentence=sentence(ranked),
        data={
            "call": station.call,
            "band": station.band,
            "mode": station.mode,
            "dial_hz": station.dial_hz,
            "offset_hz": station.offset_hz,
            "parity": station.parity,
            "ready": ranked.ready,
            "need": None if ranked.need is None else f"{ranked.need.dimension}: {ranked.need.scope}",
            "chance": None if ranked.chance is None else round(ranked.chance, 3),
            "to_me": station.to_me,
            "snr_db": station.snr_db,
            "act_by_ms": act_by_ms(station.last_ms, station.mode, now_ms),
        },
    )


def _air_table(stations: list[OnAir], known: dict[str, tuple[str, Urgency]], now_ms: int) -> Table:
    return Table(
        name="lookout.on_the_air",
        panel=Panel.ON_THE_AIR,
        title="On the air",
        rank=10,
        at_ms=max((station.last_ms for station in stations), default=None),
        columns=(
            Column(key="call", title="call", keep=1),
            Column(key="doing", title="doing", keep=2),
            Column(key="place", title="where", keep=5),
            Column(key="why", title="why it matters", keep=4),
            Column(key="strength", title="strength", keep=3),
            Column(key="age", title="heard", right=True, keep=6),
        ),
        rows=tuple(_air_row(station, known.get(station.call), now_ms) for station in stations),
        empty="nobody heard yet",
    )


def _air_row(station: OnAir, known: tuple[str, Urgency] | None, now_ms: int) -> Row:
    worked = station.best.note(WorkedNote) if station.best is not None else None
    matters, urgency = known or (worked.why if worked is not None else "", Urgency.CALM)
    place = station.placed.entity.name if station.placed is not None and station.placed.entity is not None else ""
    distance = "" if station.distance_km is None else f" {station.distance_km:,.0f} km"
    doing = doing_words(station)
    return Row(
        key=station.call,
        cells=(
            station.call,
            doing,
            (place + distance).strip(),
            matters,
            strength_words(station.snr_db),
            age_words(now_ms - station.last_ms),
        ),
        urgency=urgency,
        sentence=f"{station.call} {doing}, {db_words(station.snr_db)}" + (f": {matters}" if matters else ""),
        data={
            "call": station.call,
            "band": station.band,
            "mode": station.mode,
            "dial_hz": station.dial_hz,
            "offset_hz": station.offset_hz,
            "parity": station.parity,
            "doing": str(station.doing),
            "partner": station.partner,
            "snr_db": station.snr_db,
            "locator": station.locator,
            "distance_km": station.distance_km,
            "azimuth_deg": station.azimuth_deg,
            "to_me": station.to_me,
            "last_ms": station.last_ms,
        },
    )
