"""The noise of one receiver against its usual level: a fall at once is the receiver's, a rise is interference."""

from __future__ import annotations

from .detect import Cusum, Latch, Usual

#: noise below the usual by this much is no band's doing, dB
_DEAF_DB = 8.0
_SPREAD_DB = 1.5


class Noise:
    """``level_dbfs_hz`` is the last one told, None where none is; ``fell_db`` and ``rose_db`` are None while usual."""

    def __init__(self) -> None:
        self._usual = Usual(_SPREAD_DB)
        self._up = Cusum()
        self._down = Cusum()
        self._rise = Latch(up=2, down=4)
        self._deaf = Latch(up=2, down=3)
        self.level_dbfs_hz: float | None = None
        self.fell_db: float | None = None
        self.rose_db: float | None = None

    def take(self, level_dbfs_hz: float | None) -> None:
        """Take in the level of one listened period; None where it is not told, or where the audio is at fault."""
        self.level_dbfs_hz = level_dbfs_hz
        if level_dbfs_hz is None:
            self.fell_db = self.rose_db = None
            return
        usual = self._usual.value
        if usual is None:
            self._usual.learn(level_dbfs_hz)
            return
        fell_db = usual - level_dbfs_hz
        away = -fell_db / _SPREAD_DB
        up, down = self._up.update(away), self._down.update(-away)
        rise = self._rise.update(poor=up, good=away < 2)
        deaf = self._deaf.update(poor=down and fell_db > _DEAF_DB, good=fell_db < _DEAF_DB / 2)
        self.fell_db = fell_db if deaf else None
        self.rose_db = -fell_db if rise and not deaf else None
        if not deaf and not rise and abs(away) < 3:
            self._usual.learn(level_dbfs_hz)

    @property
    def usual(self) -> bool:
        """Whether the noise is told, and as it usually is."""
        known = self.level_dbfs_hz is not None and self._usual.value is not None
        return known and self.fell_db is None and self.rose_db is None
