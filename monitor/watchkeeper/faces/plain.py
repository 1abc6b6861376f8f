"""The watch in sentences, one a line: for screen readers, pipes and log files.

Only what changed is told, each thing once, so that listening to it is bearable: hails, whom to call, who calls, what
was logged, what became wrong or well again, and one summary a period.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ..view import Gauges, Panel, Reading, Urgency, counted
from .outlet import Outlet
from .shown import HailShown, Snapshot, Status, call_of, number, to_snapshot, to_status
from .source import ActRefusedError, NoDaemonError, Source
from .words import (
    PARITY_WORDS,
    URGENCY_WORDS,
    band_words,
    decibel,
    logged,
    megahertz,
    plugins,
    silence_s,
    span,
    utc,
)

Write = Callable[[str], None]
#: more lines than these do not wait for a reader that does not read
LINES_WAITING = 1000
#: more hails of one moment are counted, not told: nobody listens to twenty
HAILS_AT_ONCE = 5


class Narrator:
    """Remembers what was told, and tells the rest."""

    def __init__(self) -> None:
        self._started = False
        self._advice: str | None = None
        self._callers: frozenset[str] = frozenset()
        self._hails: set[tuple[str, int]] = set()
        self._contacts: int | None = None
        self._logged: frozenset[str] = frozenset()
        self._readings: dict[str, Urgency] = {}
        self._troubles: frozenset[str] = frozenset()
        self._down: dict[str, str] = {}
        self._silent = False
        self._place: tuple[object, ...] = ()
        self._summed_ms: int | None = None
        self._summary = ""

    def tell(self, snapshot: Snapshot, status: Status, now_ms: int) -> list[str]:
        """What changed since the last call, in sentences; each begins with the time in UTC."""
        told: list[str] = []
        told += self._tell_place(snapshot)
        told += self._tell_hails(snapshot)
        told += self._tell_advice(snapshot)
        told += self._tell_callers(snapshot)
        told += self._tell_contacts(snapshot)
        told += self._tell_vitals(snapshot)
        told += self._tell_troubles(status)
        told += self._tell_silence(snapshot, now_ms)
        told += self._tell_period(snapshot)
        self._started = True
        clock = utc(snapshot.now_ms if snapshot.now_ms is not None else now_ms)
        return [f"{clock} {sentence}" for sentence in told]

    def _tell_place(self, snapshot: Snapshot) -> list[str]:
        own = snapshot.own
        band = snapshot.period.band if snapshot.period is not None else None
        place = (own.call, own.locator, own.dial_hz, own.mode, band)
        if place == self._place or not any(place):
            return []
        self._place = place
        words = "Watching"
        if own.call:
            words += f" as {own.call}"
        if own.locator:
            words += f" from {own.locator}"
        where = " ".join(part for part in (band and band_words(band), own.mode) if part)
        if where:
            words += f" on {where}"
        if own.dial_hz is not None:
            words += f", dial {megahertz(own.dial_hz)}"
        return [f"{words}."]

    def _tell_hails(self, snapshot: Snapshot) -> list[str]:
        fresh = [hail for hail in snapshot.hails if (hail.key, hail.at_ms) not in self._hails]
        # what the watch no longer lists cannot come again
        self._hails = {(hail.key, hail.at_ms) for hail in snapshot.hails}
        fresh.sort(key=lambda hail: -hail.urgency)
        told = [_hail_words(hail) for hail in fresh[:HAILS_AT_ONCE]]
        left = len(fresh) - len(told)
        return [*told, f"And {counted(left, 'hail')} more."] if left else told

    def _tell_advice(self, snapshot: Snapshot) -> list[str]:
        row = snapshot.advice()
        call = None if row is None else call_of(row)
        if call == self._advice:
            return []
        self._advice = call
        if row is None:
            return ["Nobody to call now."]
        parts = []
        parity, offset, snr, chance = (number(row, key) for key in ("parity", "offset_hz", "snr_db", "chance"))
        if parity in (0, 1):
            parts.append(f"call in {PARITY_WORDS[1 - int(parity)]} periods")
        if offset is not None:
            parts.append(f"on {offset:,.0f} Hz")
        if snr is not None:
            parts.append(f"heard at {decibel(snr)}")
        if chance is not None:
            parts.append(f"chance {round(100 * chance)} percent")
        words = f"{'Answer' if row.data.get('to_me') else 'Call'} {call}"
        why = snapshot.advice_words()
        if why:
            words += f": {why}"
        return [f"{words}; {', '.join(parts)}." if parts else f"{words}."]

    def _tell_callers(self, snapshot: Snapshot) -> list[str]:
        callers = {call_of(row): row for row in snapshot.callers()}
        told = []
        for call, row in callers.items():
            if call not in self._callers:
                snr = number(row, "snr_db")
                told.append(f"{call} calls you{'' if snr is None else f', {decibel(snr)}'}.")
        self._callers = frozenset(callers)
        return told

    def _tell_contacts(self, snapshot: Snapshot) -> list[str]:
        tables = snapshot.tables(Panel.LOG)
        rows = tables[0].rows if tables else ()
        told = []
        if self._contacts is None:
            told.append(f"{logged(snapshot)}.")
        elif snapshot.contacts > self._contacts:
            fresh = [call_of(row) for row in rows if row.key not in self._logged]
            names = f"Contact with {', '.join(reversed(fresh))} logged" if fresh else "A contact was logged"
            told.append(f"{names}: {logged(snapshot)}.")
        self._contacts = snapshot.contacts
        self._logged = frozenset(row.key for row in rows)
        return told

    def _tell_vitals(self, snapshot: Snapshot) -> list[str]:
        told = []
        readings = _readings(snapshot)
        for key, reading in readings.items():
            before = self._readings.get(key, Urgency.CALM)
            if reading.urgency == before:
                continue
            if reading.urgency is Urgency.CALM:
                told.append(f"{reading.label} is well again: {reading.text}.")
            else:
                told.append(f"{reading.label}: {'; '.join(filter(None, (reading.text, reading.sentence)))}.")
        self._readings = {key: reading.urgency for key, reading in readings.items()}
        return told

    def _tell_troubles(self, status: Status) -> list[str]:
        now = dict(_troubles(status))
        fresh = [sentence for key, sentence in now.items() if key not in self._troubles]
        over = [name for key, name in self._down.items() if key not in now]
        self._down = {f"down {name}": name for name in status.outbox if f"down {name}" in now}
        self._troubles = frozenset(now)
        return [f"{sentence.rstrip('.')}." for sentence in fresh] + [f"{name} takes contacts again." for name in over]

    def _tell_silence(self, snapshot: Snapshot, now_ms: int) -> list[str]:
        silent = silence_s(snapshot, now_ms)
        was, self._silent = self._silent, silent is not None
        if silent is not None and not was:
            return [f"Nothing from any source for {span(silent)}: check that the decoder runs and sends."]
        return ["The source speaks again."] if was and silent is None else []

    def _tell_period(self, snapshot: Snapshot) -> list[str]:
        period = snapshot.period
        if period is None or not period.closed or period.start_ms == self._summed_ms:
            return []
        self._summed_ms = period.start_ms
        stations = sum(len(table.rows) for table in snapshot.tables(Panel.ON_THE_AIR)[:1])
        heard = "you sent" if period.sent else counted(period.heard, "hearing") if period.heard is not None else None
        words = ", ".join(filter(None, (heard, f"{counted(stations, 'station')} on the air", logged(snapshot))))
        if words == self._summary:
            return []
        self._summary = words
        return [f"{PARITY_WORDS[period.parity].capitalize()} period of {utc(period.start_ms)}: {words}."]


def _hail_words(hail: HailShown) -> str:
    word = URGENCY_WORDS[hail.urgency]
    reasons = [reason for reason in hail.reasons if reason not in hail.sentence]
    because = f", because {', '.join(reasons)}" if reasons else ""
    return f"{f'{word.capitalize()} hail' if word else 'Hail'}: {hail.sentence}{because}."


def _readings(snapshot: Snapshot) -> dict[str, Reading]:
    return {
        f"{view.name}/{reading.key}": reading
        for view in snapshot.panel(Panel.VITALS)
        if isinstance(view, Gauges)
        for reading in view.readings
    }


def _troubles(status: Status) -> Iterator[tuple[str, str]]:
    """What is wrong, under a key that stays the same while the matter does.

    A counter is told again when it has one more digit: its news value falls as it grows.
    """
    for name, box in status.outbox.items():
        why = f" ({box.why})" if box.why else ""
        if box.down_since is not None:
            yield f"down {name}", f"{name} does not take contacts{why}, {box.waiting} waiting; they are kept"
        if box.dead:
            yield f"dead {name} {box.dead}", f"{name} refused {counted(box.dead, 'contact')} for good{why}"
    for words, number_of in (
        ("not valid", sum(status.intake.rejected.values())),
        ("lost on the way", status.intake.lost),
        ("dropped by overload", status.intake.shed),
    ):
        if number_of:
            yield f"{words} {len(str(number_of))}", f"{counted(number_of, 'event')} {words}"
    for _, words in plugins(status):
        yield words, words[0].upper() + words[1:]
    for notice in status.notices:
        yield notice, notice


async def narrate(source: Source, write: Write, clock: Callable[[Snapshot], int]) -> None:
    """Tell the watch of ``source`` line by line until cancelled; ``clock`` gives the time in ms for a snapshot.

    ``write`` is called in a thread of its own: a pipe that nobody reads holds up nothing but itself.
    """
    outlet = Outlet(write, LINES_WAITING)
    try:
        await _narrate(source, outlet.put, clock)
    finally:
        outlet.close()


async def _narrate(source: Source, write: Write, clock: Callable[[Snapshot], int]) -> None:
    narrator = Narrator()
    lost = False
    async for _ in source.changes():
        try:
            snapshot, status = to_snapshot(await source.snapshot()), to_status(await source.status())
        except (NoDaemonError, ActRefusedError) as error:
            if not lost:
                write(f"The watch does not answer: {error}.")
            lost = True
            continue
        if lost:
            write("The watch answers again.")
        lost = False
        for line in narrator.tell(snapshot, status, clock(snapshot)):
            write(line)
