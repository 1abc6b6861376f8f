"""What hearings and period markers tell of one receiver: passband, clock, audio, noise, and whether it hears."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from statistics import fmean, median
from typing import NamedTuple

from watchkeeper.api import Hearing, Period
from watchkeeper.radio.mode import timed
from watchkeeper.view import Urgency, minus

from . import interference, silence
from .detect import Latch, Usual, crowding
from .interference import Jammed
from .noise import Noise
from .settings import VitalsConfig
from .silence import Beside, Silence
from .vital import Vital

#: listened periods that are looked back on
_LOOK_BACK = 12
_SEARCHED_HZ = (200.0, 2900.0)
#: the chance of an accident below which a crowd of offsets is taken for a narrow passband
_CROWDED = 1e-7
_LEAST_SPAN_HZ = 100.0
#: wider than this share of what is searched, nothing is narrow
_NARROW_SHARE = 0.4
#: beyond this no decoder finds a message's start (common practice, no source)
_NOTHING_DECODES_S = 2.5
_SILENT_DBFS = -95.0
_AUDIO_SLACK_DB = 4.0
#: a single station's start is its own matter when it is further off than this
_STRAY_S = 0.9
_LEAST_S = 5.0
#: the last listened periods before a silence tell whether it came at once
_JUST_BEFORE = 4


_ALONE = Beside()


class Look(NamedTuple):
    """One listened period: offsets and starts of its credible stations."""

    start_ms: int
    offsets: dict[str, float]
    late: dict[str, float]


class Receiving:
    """One receiver of one source on one band."""

    def __init__(self, config: VitalsConfig) -> None:
        self._config = config
        self._looks: deque[Look] = deque(maxlen=_LOOK_BACK)
        self._medians: deque[tuple[int, float]] = deque(maxlen=240)
        self._narrow = Latch(up=2, down=2)
        self._was_wide = False
        self._off = Latch(up=2, down=3)
        self._audio = Latch(up=2, down=2)
        self._noise = Noise()
        self._jammed = Jammed()
        self._usual_count = Usual(1.0)
        self._silent = 0
        self._counts: deque[int] = deque(maxlen=_JUST_BEFORE)
        self._count_before: float | None = None
        self._usual_before: float | None = None
        self._signals = 0
        self.listened = 0
        self.width_hz = _SEARCHED_HZ
        self.filter_hz: tuple[float, float] | None = None
        self.sending_hz: float | None = None
        self.unsynchronised = False
        self.vitals: tuple[Vital, ...] = ()
        self.count = 0
        self.error_s: float | None = None
        self.last_ms = 0
        self.length_ms = 0

    def close(self, period: Period, shared: Sequence[Hearing] = (), beside: Beside = _ALONE) -> None:
        """Take in a period that is complete, unless we sent in it or hardly listened.

        ``shared`` are hearings that another source had first: their offsets are everybody's, their starts are measured
        by the other's clock. ``beside``: what else is known of the band.
        """
        hardly = period.listened_s is not None and period.listened_s < min(_LEAST_S, period.length_ms / 2000)
        if period.sent or hardly:
            return
        self.listened += 1
        self.last_ms = period.end_ms
        self.length_ms = period.length_ms
        own, others = _counted(period.hearings), _counted(shared)
        look = _look(period.start_ms, own, others)
        self._count(len(look.offsets))
        self._looks.append(look)
        audio = self._judge_audio(period.audio_dbfs)
        clock = self._judge_clock(period, beside)
        self._noise.take(None if self._audio.on else period.noise_dbfs_hz)
        explained = next((one.label.lower() for one in (audio, clock) if one.wrong), None)
        self._listen_between(period, shared, quiet=explained is None)
        receiver = self._judge_receiver(beside, explained=explained)
        jamming = interference.judge(
            self._noise.rose_db,
            self._jammed,
            noise_told=self._noise.level_dbfs_hz is not None,
            sending_hz=self.sending_hz,
        )
        if explained is None and not receiver.wrong and self._noise.rose_db is None:
            self._usual_count.learn(self.count)
        self.vitals = (self._judge_passband(), clock, audio, receiver, jamming)

    def _count(self, stations: int) -> None:
        """Stations of this period, and those just before a silence."""
        self.count = stations
        if stations:
            self._counts.append(stations)
            self._silent = 0
            return
        if not self._silent:
            self._usual_before = self._usual_count.value
            self._count_before = fmean(self._counts) if self._counts else None
            self._counts.clear()
        self._silent += 1

    def _listen_between(self, period: Period, shared: Sequence[Hearing], *, quiet: bool) -> None:
        """What holds energy without being decoded; only where nothing else keeps stations from decoding."""
        occupied = period.occupied
        known = timed(period.mode)
        self._signals = len(occupied or ())
        if occupied is not None and known is not None and quiet:
            self._jammed.take(occupied, (*period.hearings, *shared), known.bandwidth_hz)

    @property
    def noise_dbfs_hz(self) -> float | None:
        """The last level of noise; None where none is told, or where it fell."""
        return self._noise.level_dbfs_hz if self._noise.fell_db is None else None

    # -- passband -----------------------------------------------------------------------------------------------------

    def _judge_passband(self) -> Vital:
        searched_hz = self.width_hz[1] - self.width_hz[0]
        span_hz, chance = searched_hz, 1.0
        for back in (3, 6, _LOOK_BACK):
            offsets: dict[str, float] = {}
            for look in list(self._looks)[-back:]:
                offsets |= look.offsets
            found_hz, found = crowding(list(offsets.values()), searched_hz)
            if found < chance:
                span_hz, chance = found_hz, found
        told = self.filter_hz is not None and self.filter_hz[1] - self.filter_hz[0] < _NARROW_SHARE * searched_hz
        # signals have a width: so many on one spot are a source without offsets
        crowded = chance < _CROWDED and _LEAST_SPAN_HZ < span_hz < _NARROW_SHARE * searched_hz
        recent = [offset for look in list(self._looks)[-2:] for offset in look.offsets.values()]
        wide = len(recent) > 1 and max(recent) - min(recent) > 0.6 * searched_hz
        on = self._narrow.update(poor=told or crowded, good=wide and not told)
        if not on:
            self._was_wide = self._was_wide or wide or (self.filter_hz is not None and not told)
            text = "wide enough" if self._was_wide else "too few stations to tell"
            return Vital("passband", "Passband", text, known=self._was_wide)
        self._was_wide = False
        shown_hz, chance = (
            (self.filter_hz[1] - self.filter_hz[0], 0.0) if told and self.filter_hz else (span_hz, chance)
        )
        return Vital(
            "passband",
            "Passband",
            f"narrow: about {shown_hz:.0f} Hz",
            Urgency.WANTED,
            (f"The radio's filter is {shown_hz:.0f} Hz wide" if told else f"All stations lie within {shown_hz:.0f} Hz")
            + f", of the {searched_hz:.0f} Hz that the decoder searches: a narrow filter hides the rest of the band.",
            "Choose the radio's widest filter for data (about 3 kHz), and no band-pass tuning or notch.",
            min(0.999, 1 - chance**0.5),
            round(shown_hz),
        )

    # -- clock --------------------------------------------------------------------------------------------------------

    def _judge_clock(self, period: Period, beside: Beside) -> Vital:
        late: dict[str, float] = {}
        for look in list(self._looks)[-4:]:
            late |= look.late
        limit_s = self._config.clock_off_s
        newest = self._looks[-1].late.values()
        if newest:
            self._medians.append((period.start_ms, median(newest) - self._config.habitual_late_s))
        if len(late) < 4:
            return self._silent_clock(list(late.values()), beside)
        middle_s = median(late.values())
        error_s = middle_s - self._config.habitual_late_s
        spread_s = median(abs(one - middle_s) for one in late.values())
        doubt_s = 3 * max(0.05, 1.86 * spread_s / len(late) ** 0.5)  # standard error of a median, from its deviations
        self.error_s = error_s
        on = self._off.update(poor=abs(error_s) - doubt_s > limit_s * 0.5, good=abs(error_s) < limit_s * 0.6)
        strays = sorted(call for call, one in late.items() if abs(one - middle_s) > _STRAY_S)
        if not on:
            text = f"right, within {max(0.1, abs(error_s)):.1f} s"
            sentence = None
            if strays:
                off = minus(f"{late[strays[0]] - middle_s:+.1f}")
                sentence = f"{strays[0]} is {off} s off the others: its clock, not yours."
            return Vital("clock", "Clock", text, sentence=sentence, value=round(error_s, 2))
        ahead = "ahead" if error_s > 0 else "behind"
        drift = self._drift_s_per_h()
        moving = f", moving {minus(f'{drift:+.1f}')} s an hour" if abs(drift) > 0.3 else ""
        return Vital(
            "clock",
            "Clock",
            f"{abs(error_s):.1f} s {ahead}{moving}",
            Urgency.URGENT if abs(error_s) > 1.2 else Urgency.WANTED,
            f"{len(late)} stations appear {abs(error_s):.1f} s {'late' if error_s > 0 else 'early'} together: "
            f"the computer's clock is {ahead}{moving}.",
            "Set the computer's clock from a time server or a satellite receiver; by hand if there is no other way.",
            min(0.999, 1 - 0.5 ** len(late)),
            round(error_s, 2),
            -limit_s,
            limit_s,
        )

    def _silent_clock(self, late: list[float], beside: Beside) -> Vital:
        """Too few stations for a median: silence with a clock that nobody keeps may be the clock's doing.

        So may a few that are left and all far off: those whose own clocks err the same way. A clock that nobody keeps
        is out of it while others decode by it, or where the band is closed at this hour anyway.
        """
        usual = self._usual_count.value
        recent = [len(look.offsets) for look in list(self._looks)[-4:]]
        gone = self._silent >= 4 and (usual is None or usual >= 2)
        if usual is not None and usual >= 4 and len(recent) == 4:
            gone = gone or median(recent) <= 0.15 * usual
        was_off = self._off.on
        stray = bool(late) and abs(median(late) - self._config.habitual_late_s) > _STRAY_S
        if gone and (was_off or stray or (self.unsynchronised and not beside.excuses_the_clock)):
            self._off.on = True
            return Vital(
                "clock",
                "Clock",
                "probably far off",
                Urgency.URGENT,
                f"Hardly anything decodes any more and the computer's clock "
                f"{'is not synchronised' if self.unsynchronised else 'was off, or the few left are far off'}: "
                f"beyond about {_NOTHING_DECODES_S} s no message is found.",
                "Set the computer's clock first; then look at the receiver.",
                0.8,
            )
        self._off.update(poor=False, good=not gone and not was_off)
        text = "not synchronised" if self.unsynchronised else "too few stations to tell"
        return Vital("clock", "Clock", text, known=False)

    def _drift_s_per_h(self) -> float:
        """Slope of the medians, by the median of slopes between points half the record apart (Theil, halved)."""
        points = list(self._medians)
        half = len(points) // 2
        if half < 8:
            return 0.0
        slopes = [
            (late[1] - early[1]) / (late[0] - early[0]) * 3_600_000
            for early, late in zip(points[:half], points[-half:], strict=True)
            if late[0] > early[0]
        ]
        return median(slopes) if slopes else 0.0

    # -- audio and noise ----------------------------------------------------------------------------------------------

    def _judge_audio(self, level_dbfs: float | None) -> Vital:
        low, high = self._config.audio_low_dbfs, self._config.audio_high_dbfs
        if level_dbfs is None:
            return Vital("audio", "Audio", "not told", known=False)
        level = minus(f"{level_dbfs:.0f}")
        poor = not low <= level_dbfs <= high
        good = low + _AUDIO_SLACK_DB <= level_dbfs <= high - min(_AUDIO_SLACK_DB, 2.0)
        if not self._audio.update(poor=poor, good=good):
            return Vital("audio", "Audio", f"good, {level} dBFS", value=level_dbfs, low=low, high=high)
        loud = level_dbfs > (low + high) / 2
        what = "too high" if loud else "silent" if level_dbfs <= _SILENT_DBFS else "too low"
        return Vital(
            "audio",
            "Audio",
            f"{what}, {level} dBFS",
            Urgency.WANTED,
            f"The receive audio is {what}: {level} dBFS, where {minus(f'{low:.0f}')} to {minus(f'{high:.0f}')} serve.",
            "Turn the level down until strong signals do not clip."
            if loud
            else "Look at cable, sound device and its level; turn it up until noise alone gives about −30 dBFS.",
            0.99,
            level_dbfs,
            low,
            high,
        )

    def _judge_receiver(self, beside: Beside, *, explained: str | None) -> Vital:
        """Deaf, or the band dead. ``explained``: another vital that is wrong and makes a receiver silent."""
        fell_db = self._noise.fell_db
        if fell_db is not None:
            return Vital(
                "receiver",
                "Receiver",
                f"deaf: noise {fell_db:.0f} dB below usual",
                Urgency.URGENT,
                f"The noise fell by {fell_db:.0f} dB at once: a band that closes leaves its noise, so this is "
                "the receiver or the antenna.",
                "Look at antenna, feed line and switches, attenuator, preamplifier and RF gain.",
                0.98,
                self._noise.level_dbfs_hz,
            )
        if self._silent and explained is not None:
            return Vital("receiver", "Receiver", f"not known while the {explained} is off", known=False)
        found = silence.judge(
            Silence(self._silent, self._usual_before, self._count_before, self._noise.usual, self._signals, beside)
        )
        if found is not None:
            return found
        level = self._noise.level_dbfs_hz
        if level is not None:
            return Vital("receiver", "Receiver", f"noise {minus(f'{level:.0f}')} dBFS/Hz", value=level)
        return Vital("receiver", "Receiver", "hears stations" if self.count else "not known yet", known=self.count > 0)


def _counted(hearings: Sequence[Hearing]) -> dict[str, Hearing]:
    """The last credible, live hearing of each station."""
    return {one.call: one for one in hearings if one.call is not None and one.credibility.credible and one.live}


def _look(start_ms: int, own: dict[str, Hearing], others: dict[str, Hearing]) -> Look:
    return Look(
        start_ms,
        {call: one.offset_hz for call, one in (others | own).items()},
        {call: one.late_s for call, one in own.items() if one.late_s is not None},
    )
