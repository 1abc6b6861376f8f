"""The hail book: lets one matter out once, the rarest first, and never too many an hour."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from statistics import median

import msgspec

from ..model import AGAIN, Hail
from ..schema.events import from_ms
from ..view import Urgency

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
#: how many hails the faces can look back on
KEPT = 200
#: from this share of the hour's hails on, only what is rare enough goes out
RESERVED_FROM = 0.75


class HailRules(msgspec.Struct, frozen=True, kw_only=True):
    """How many hails the operator wants, and when."""

    hold_off_min: float = 30.0
    per_hour: int = 60  # 0: no limit
    quiet: tuple[tuple[int, int], ...] = ()  # (from, to) in minutes of the UTC day; may pass midnight


class HailBook:
    """Hails wait here until the judgement that raised them is complete; :meth:`settle` lets out what may go."""

    def __init__(self, rules: HailRules) -> None:
        self._rules = rules
        self._waiting: dict[str, Hail] = {}
        self._held: dict[str, int] = {}
        #: when the last hail of each matter went out, until the operator has seen to it
        self._unheeded: dict[str, int] = {}
        #: why the last hail of each matter was held back, in words
        self._why_silent: dict[str, str] = {}
        #: (when, rarity) of the last hour's hails of stations heard
        self._times: deque[tuple[int, float]] = deque()
        self.recent: deque[Hail] = deque(maxlen=KEPT)
        self.out = 0
        self.held_back = 0
        self._paused_until = 0

    def obey(self, rules: HailRules) -> None:
        """Go by other rules from now on; what went out and what is held off stays so."""
        self._rules = rules

    def hail(self, hail: Hail) -> None:
        """Enter a hail. Of several with one key in one judgement the most urgent counts, else the first."""
        known = self._waiting.get(hail.key)
        if known is None or hail.urgency > known.urgency:
            self._waiting[hail.key] = hail

    def settle(self, now_ms: int) -> Sequence[Hail]:
        """Those that go out now, the most urgent first."""
        if not self._waiting:
            return ()
        waiting = sorted(self._waiting.values(), key=lambda h: (-h.urgency, -h.rarity, h.key))
        self._waiting.clear()
        out = []
        for hail in waiting:
            why_not = self._why_held_off(hail.key, now_ms)
            if why_not is None and hail.urgency < Urgency.URGENT:
                why_not = self._why_not_now(hail, now_ms)
                # what is raised in vain again and again, for one reason, is one hail held back
                self.held_back += why_not not in (None, self._why_silent.get(hail.key))
            self._why_silent.pop(hail.key, None)
            if why_not is not None:
                # anew at the end: what is raised again and again is not among the first to be forgotten
                self._why_silent[hail.key] = why_not
                continue
            minutes = self._rules.hold_off_min if hail.hold_off_min is None else hail.hold_off_min
            self._held[hail.key] = now_ms + round(minutes * 60_000)
            self._unheeded[hail.key] = now_ms
            if not hail.own_station:
                self._times.append((now_ms, hail.rarity))
            self.recent.append(hail)
            self.out += 1
            out.append(hail)
        self._forget(now_ms)
        return out

    def _why_held_off(self, key: str, now_ms: int) -> str | None:
        until_ms = self._held.get(key, 0)
        if until_ms <= now_ms:
            return None
        went_ms = self._unheeded.get(key)
        said = "you have seen to it" if went_ms is None else f"it went out at {_clock(went_ms)}"
        return f"{said}, held off until {_clock(until_ms)}"

    def _why_not_now(self, hail: Hail, now_ms: int) -> str | None:
        while self._times and self._times[0][0] <= now_ms - HOUR_MS:
            self._times.popleft()
        if now_ms < self._paused_until:
            return f"hails are paused until {_clock(self._paused_until)}"
        minute = now_ms % DAY_MS // 60_000
        if any(_within(minute, *span) for span in self._rules.quiet):
            return "these are quiet hours"
        return None if hail.own_station else self._why_crowded_out(hail)

    def _why_crowded_out(self, hail: Hail) -> str | None:
        """Whether the hour's hails are used up; the last quarter of them is for what is no commoner than most were."""
        limit, used = self._rules.per_hour, len(self._times)
        if limit <= 0 or used < limit * RESERVED_FROM:
            return None
        if used >= limit:
            return f"{used} hails went out within the hour, as many as you want"
        if hail.rarity < median(rarity for _, rarity in self._times):
            return f"{used} of the {limit} hails that you want an hour went out, the rest is for what is rarer"
        return None

    def _forget(self, now_ms: int) -> None:
        if len(self._held) > 10 * KEPT:
            self._held = {key: until for key, until in self._held.items() if until > now_ms}
        if len(self._unheeded) > 10 * KEPT:
            self._unheeded = {key: at_ms for key, at_ms in self._unheeded.items() if at_ms > now_ms - DAY_MS}
        while len(self._why_silent) > 10 * KEPT:
            del self._why_silent[next(iter(self._why_silent))]

    def unheeded_ms(self, key: str) -> int | None:
        """When the last hail of a matter went out; None where none did, or the operator has seen to it."""
        return self._unheeded.get(key)

    def why_silent(self, key: str) -> str | None:
        """Why the last hail of a matter was held back, in words; None where it went out or none was raised."""
        return self._why_silent.get(key)

    def done(self, key: str, now_ms: int) -> None:
        """The operator has seen to it: the matter stays quiet for a day."""
        for each in (key, key.removesuffix(AGAIN)):
            self._held[each] = now_ms + DAY_MS
            self._unheeded.pop(each, None)

    def release(self, key: str) -> None:
        """End the hold-off of one matter."""
        for each in (key, key.removesuffix(AGAIN)):
            self._held.pop(each, None)

    def pause(self, minutes: float, now_ms: int) -> None:
        """Let only urgent hails out for so long."""
        self._paused_until = now_ms + round(minutes * 60_000)


def _clock(at_ms: int) -> str:
    return f"{from_ms(at_ms):%H:%M:%S}"


def _within(minute: int, start: int, end: int) -> bool:
    return start <= minute < end if start <= end else minute >= start or minute < end
