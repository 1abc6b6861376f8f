"""The words for what a station does, how strong it is, and how long ago that was."""

from __future__ import annotations

from watchkeeper.api import Doing, OnAir, from_ms
from watchkeeper.view import minus

_WORDS = {
    Doing.CALLING: "calling",
    Doing.FREE: "free",
    Doing.CLOSING: "closing",
    Doing.UNKNOWN: "heard",
    Doing.ANSWERING: "answering",
    Doing.REPORTING: "in contact",
}
_TO_ME = {Doing.ANSWERING: "calling you", Doing.FREE: "done with you"}


def doing_words(station: OnAir) -> str:
    """What the station does: ``calling DX``, ``in contact with W1QSB``."""
    words = _WORDS[station.doing]
    if station.to_me:
        return _TO_ME.get(station.doing, "with you")
    if station.doing is Doing.CALLING:
        return f"calling {station.directed_to}" if station.directed_to else "calling CQ"
    if station.partner and station.doing in (Doing.ANSWERING, Doing.REPORTING, Doing.CLOSING):
        return f"{words} {'with ' if station.doing is not Doing.ANSWERING else ''}{station.partner}"
    return words


def ready_words(station: OnAir) -> str:
    """How it stands with taking a call: ``free since 14:02:30``, ``calling CQ since 14:02:00, unanswered``."""
    if station.calls_me:
        return "waits for you"
    if station.free_since_ms is None:
        return doing_words(station)
    since = f"since {from_ms(station.free_since_ms):%H:%M:%S}"
    if station.doing is Doing.CALLING:
        return f"{doing_words(station)} {since}" + (", unanswered" if station.calls_in_vain > 2 else "")
    return f"free {since}" + (", about to leave" if station.leaving else "")


def strength_words(snr_db: float) -> str:
    """The strength in words and dB: ``fair, −12 dB``."""
    for limit_db, word in ((-20, "very weak"), (-14, "weak"), (-6, "fair"), (4, "good")):
        if snr_db < limit_db:
            return f"{word}, {db_words(snr_db)}"
    return f"strong, {db_words(snr_db)}"


def db_words(level_db: float) -> str:
    """A level: ``−12 dB`` or ``+3 dB``."""
    return minus(f"{level_db:+.0f} dB")


def age_words(age_ms: int) -> str:
    """How old: ``now`` within a period of 15 s, else ``45 s``, ``3 min``."""
    seconds = max(0, age_ms) // 1000
    if seconds <= 15:
        return "now"
    return f"{seconds} s" if seconds < 120 else f"{seconds // 60} min"


def time_words(act_by_ms: int, length_ms: int, late_ms: int, now_ms: int) -> str:
    """How long there is to act: ``now``, ``still in time``, ``next chance in 22 s``.

    The call begins ``late_ms`` before ``act_by_ms``; the last seconds before that are *now*.
    """
    left_ms = act_by_ms - late_ms - now_ms
    if left_ms < 0:
        return "still in time"
    if left_ms <= length_ms // 3:
        return "now"
    return f"next chance in {left_ms // 1000} s"
