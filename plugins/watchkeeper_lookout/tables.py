"""The Lookout and On the air panels: whom to call, where to send, who is there."""

from __future__ import annotations

from watchkeeper.api import Doing, OnAir, Own, Urgency
from watchkeeper.radio.band import of as band_of
from watchkeeper.view import Column, Gauges, Panel, Reading, Row, Table
from watchkeeper_worked import WorkedNote

from .offset import Clear, Spectrum
from .ranking import Ranked, entity_name, need_code, sentence, waited_ms_of
from .readiness import act_by_ms, length_ms_of
from .words import age_words, db_words, doing_words, strength_words


def ranked_table(ranked: list[Ranked], spectrum: Spectrum, now_ms: int) -> Table:
    """Whom to call, best first."""
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
        rows=tuple(_ranked_row(each, _clear(each.station, spectrum, now_ms), now_ms) for each in ranked),
        empty="nobody new to call",
    )


def _ranked_row(ranked: Ranked, clear: Clear, now_ms: int) -> Row:
    station = ranked.station
    return Row(
        key=station.call,
        cells=(
            station.call,
            ranked.why,
            _beside_why(station),
            strength_words(station.snr_db),
            "" if ranked.chance is None else f"{100 * ranked.chance:.0f} %",
            age_words(now_ms - station.last_ms),
        ),
        urgency=ranked.urgency,
        sentence=sentence(ranked, now_ms),
        data={
            "call": station.call,
            "band": station.band,
            "mode": station.mode,
            "dial_hz": station.dial_hz,
            "offset_hz": station.offset_hz,
            "parity": station.parity,
            "ready": ranked.ready,
            "need": need_code(ranked.need),
            "entity": entity_name(station),
            "chance": None if ranked.chance is None else round(ranked.chance, 3),
            "expected_db": None if ranked.expected_db is None else round(ranked.expected_db, 1),
            "evidence": ranked.evidence,
            "send_offset_hz": clear.offset_hz,
            "send_age_ms": clear.age_ms,
            "score": round(ranked.score, 4),
            "to_me": station.calls_me,
            "waited_ms": waited_ms_of(station, now_ms),
            "tries": station.tries,
            "lacks": ", ".join(station.lacks) or None,
            "snr_db": station.snr_db,
            "act_by_ms": act_by_ms(station.last_ms, station.mode, now_ms),
        },
    )


def _beside_why(station: OnAir) -> str:
    """What the station does, where that adds to why it should be called: that it calls us is said there already."""
    return "" if station.calls_me and station.doing is Doing.ANSWERING else doing_words(station)


def air_table(stations: list[OnAir], known: dict[str, tuple[str, Urgency]], now_ms: int) -> Table:
    """Everybody on the air, the one heard last first."""
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
    place = entity_name(station) or ""
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
            "to_me": station.calls_me,
            "last_ms": station.last_ms,
        },
    )


def _clear(station: OnAir, spectrum: Spectrum, now_ms: int) -> Clear:
    """Where to send to this station: in the other parity."""
    length_ms = length_ms_of(station.mode)
    return spectrum.advise(station.band, station.mode, 1 - station.parity, now_ms, length_ms)


def sending_gauges(spectrum: Spectrum, own: Own, band: str | None, top: OnAir | None, now_ms: int) -> Gauges | None:
    """Where to send: for the advice on top, else in the parity that we send in; None where neither is known."""
    mode_name = own.mode if top is None else top.mode
    parity = own.send_parity if top is None else 1 - top.parity
    band = band if top is None else top.band
    if mode_name is None or parity is None or band is None:
        return None
    clear = spectrum.advise(band, mode_name, parity, now_ms, length_ms_of(mode_name))
    mine = _mine(spectrum, own, (band, mode_name, parity), now_ms)
    return Gauges(
        name="lookout.sending",
        panel=Panel.LOOKOUT,
        title="Where to send",
        rank=20,
        readings=(*_advised(clear), *_taken(mine, own)),
    )


def _mine(spectrum: Spectrum, own: Own, other: tuple[str, str, int], now_ms: int) -> Clear:
    """Where we send now, in our own parity, whomever it is advised to call; ``other`` stands in for what is unknown."""
    other_band, other_mode, other_parity = other
    mode_name = own.mode or other_mode
    own_band = other_band if own.dial_hz is None else band_of(own.dial_hz)
    parity = other_parity if own.send_parity is None else own.send_parity
    return spectrum.advise(own_band, mode_name, parity, now_ms, length_ms_of(mode_name), own.send_offset_hz)


def _advised(clear: Clear) -> tuple[Reading, ...]:
    if clear.age_ms is None:
        words = "unknown yet: listen to one period of this parity"
    elif clear.stale:
        words = f"{clear.offset_hz:,} Hz, but that is {age_words(clear.age_ms)} old: listen for one period"
    else:
        words = f"{clear.offset_hz:,} Hz, {'clear' if clear.is_clear else 'the least used'} here"
    found = [
        Reading(
            key="offset", label="Send on", text=words, value=float(clear.offset_hz),
            urgency=Urgency.NOTE if clear.age_ms is None or clear.stale else Urgency.CALM,
            sentence="Clear here is not clear there: they may hear others than you do."
            + ("" if clear.age_ms is None else f" Listened to {_ago(clear.age_ms)}."),
        )
    ]  # fmt: skip
    if clear.gaps:
        words = ", ".join(f"{low:,}–{high:,} Hz" for low, high in clear.gaps)
        found.append(Reading(key="gaps", label="Clear stretches", text=words))
    return tuple(found)


def _taken(mine: Clear, own: Own) -> tuple[Reading, ...]:
    if not mine.taken or own.send_offset_hz is None:
        return ()
    return (
        Reading(
            key="taken", label="Your offset", text=f"{own.send_offset_hz:,.0f} Hz is taken", urgency=Urgency.WANTED,
            value=own.send_offset_hz,
            sentence=f"Others send where you do: {mine.offset_hz:,} Hz is better.",
        ),
    )  # fmt: skip


def _ago(age_ms: int) -> str:
    words = age_words(age_ms)
    return "just now" if words == "now" else f"{words} ago"
