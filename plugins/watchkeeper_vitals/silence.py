"""Deaf or dead: when nothing decodes, is it the receiver, or the band closed by season and hour?

Each piece of evidence counts for one or the other by its weight, in the logarithm of the odds: 1 makes a cause 2.7
times as likely. The weights are common practice, no source.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

from watchkeeper.radio.band import words as band_words
from watchkeeper.radio.band_hours import BandHours, Usual
from watchkeeper.view import Urgency, counted

from .vital import Vital

#: listened periods without a station before it matters; sooner where another source hears the band
_SILENT, _SILENT_BESIDE = 8, 4
#: so many stations were enough for their silence to be news
_MANY = 5.0
#: a cause as likely as this is named alone
_SURE = 0.75
_NOISE_AS_USUAL = -3.0
_OTHERS_HEAR = 4.0
_REPORTED = 1.5
_AT_ONCE, _FADED = 1.5, -1.5
_USUALLY = {Usual.OPEN: 1.0, Usual.EITHER: 0.0, Usual.CLOSED: -2.0}
_HEARS_ELSEWHERE = -1.2
#: as many stretches of energy are signals
_SIGNALS = 3
_MOST_REASONS = 2


class Beside(NamedTuple):
    """What is known beside the receiver's own evidence: all of the last minutes."""

    band: str | None = None
    #: how the band usually is; None where the own place is not known
    hours: BandHours | None = None
    #: the other source that hears most on the band, and how many stations
    others: tuple[str, int] | None = None
    #: another band on which the same source heard most, and how many stations
    elsewhere: tuple[str, int] | None = None
    #: stations that report us on the band
    reports: int = 0

    @property
    def excuses_the_clock(self) -> bool:
        """Whether silence has another reason than the clock: others decode by it, or the band is usually closed."""
        closed = self.hours is not None and self.hours.usual is Usual.CLOSED
        return closed or self.others is not None or self.elsewhere is not None


class Silence(NamedTuple):
    """Nothing decodes since ``periods`` listened periods.

    ``usual`` and ``last`` are stations a period before, in the long run and in the last periods; ``signals`` the
    stretches of energy that the last period held.
    """

    periods: int
    usual: float | None
    last: float | None
    noise_as_usual: bool
    signals: int
    beside: Beside


class _Reason(NamedTuple):
    weight: float
    words: str


def judge(silence: Silence) -> Vital | None:
    """The verdict; None while the silence is too short for one."""
    others = silence.beside.others
    enough = _SILENT_BESIDE if others is not None else _SILENT
    if silence.periods < enough:
        return None
    if silence.signals >= _SIGNALS:
        return _signals(silence)
    reasons = _reasons(silence)
    receiver = 1 / (1 + exp(-sum(reason.weight for reason in reasons)))
    for_receiver, for_band = _told(reasons, 1), _told(reasons, -1)
    since = _since(silence)
    if receiver >= _SURE:
        return Vital(
            "receiver", "Receiver", f"probably deaf: no station for {silence.periods} periods", Urgency.WANTED,
            f"{since} It is probably this receiver, not the band: {for_receiver}.",
            "Listen by ear: without noise look at antenna, feed line, switches and RF gain; with noise at mode, dial "
            "frequency and audio device.",
            receiver,
        )  # fmt: skip
    if receiver <= 1 - _SURE:
        return Vital(
            "receiver", "Receiver", f"hears, but no station for {silence.periods} periods: the band is closed or empty",
            sentence=f"{since} It is probably the band, not your receiver: {for_band}.", confidence=1 - receiver,
        )  # fmt: skip
    sides = (("receiver", for_receiver), ("band", for_band))
    both = " ".join(f"For the {what}: {words}." for what, words in sides if words)
    return Vital(
        "receiver", "Receiver", f"no station for {silence.periods} periods: receiver or band?",
        Urgency.WANTED if silence.usual is not None and silence.usual >= _MANY else Urgency.CALM,
        f"{since} Receiver or band? {both}".strip(),
        "Listen by ear: without noise it is the receiver; with noise look at clock, mode and dial, then at the band.",
        max(receiver, 1 - receiver), known=False,
    )  # fmt: skip


def _signals(silence: Silence) -> Vital:
    return Vital(
        "receiver", "Receiver", f"signals, but nothing decodes for {silence.periods} periods", Urgency.WANTED,
        f"{_since(silence)} Yet {silence.signals} stretches hold energy: the band is open and the receiver hears it.",
        "Look at the computer's clock first, then at mode, sideband and the decoder's search range.", 0.9,
    )  # fmt: skip


def _reasons(silence: Silence) -> list[_Reason]:
    beside = silence.beside
    found = []
    if silence.noise_as_usual:
        found.append(_Reason(_NOISE_AS_USUAL, "the noise is as usual"))
    if beside.others is not None:
        name, count = beside.others
        found.append(_Reason(_OTHERS_HEAR, f"{name} hears {counted(count, 'station')} on the same band"))
    if beside.reports:
        found.append(_Reason(_REPORTED, f"{counted(beside.reports, 'station')} there reported you in the last minutes"))
    if silence.usual is not None and silence.last is not None and silence.usual >= _MANY:
        if silence.last >= silence.usual / 2:
            found.append(_Reason(_AT_ONCE, f"all {silence.usual:.0f} stations went at once"))
        elif silence.last < silence.usual / 3:
            found.append(_Reason(_FADED, "the stations faded one by one"))
    if beside.hours is not None and _USUALLY[beside.hours.usual]:
        usual = beside.hours.usual
        found.append(_Reason(_USUALLY[usual], f"{band_words(beside.band)} is usually {usual} {beside.hours.why}"))
    if beside.elsewhere is not None:
        name, count = beside.elsewhere
        found.append(
            _Reason(_HEARS_ELSEWHERE, f"you heard {counted(count, 'station')} on {band_words(name)} just before")
        )
    return found


def _told(reasons: list[_Reason], sign: int) -> str:
    """The strongest reasons that count one way."""
    these = sorted((one for one in reasons if one.weight * sign > 0), key=lambda one: -abs(one.weight))
    return " and ".join(one.words for one in these[:_MOST_REASONS])


def _since(silence: Silence) -> str:
    usual = round(silence.usual or 0)
    where = f", where {counted(usual, 'station')} did" if usual else ""
    return f"Nothing decodes for {silence.periods} periods{where}."
