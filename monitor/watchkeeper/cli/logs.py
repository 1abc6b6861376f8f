"""Log lines: for a person on a terminal, as JSON lines for anything else; secrets are masked in both.

Only the commands that stand a watch set this up; everything else of Watchkeeper merely logs.
"""

from __future__ import annotations

import json
import logging
import os
import re
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any, TextIO

from ..config import Config
from ..faces.clean import clean
from ..faces.outlet import Outlet
from ..schema.events import stamp
from ..watch.journal import plain

MASK = "***"
#: a dashboard owns the terminal, so its watch logs into the data folder: two files of this size at most
FILE, FILE_BYTES = "watch.log", 1_000_000
LINES_WAITING = 10_000
#: shorter values are no secrets, and masking them would garble every line
_SHORTEST = 6
_SECRET_KEY = re.compile(r"secret|password|seal_key|token")
#: what looks like a secret whatever it is: a password in an address, the value of a telling header or key
_TELLING = re.compile(
    r"(?P<address>\b[a-z][a-z0-9+.-]*://[^\s/:@]*:)[^\s/@]+(?=@)"
    r"|(?P<header>\b(?:proxy-)?authorization\b['\"]?\s*[:=]\s*['\"]?(?:\w+\s+)?)[^\s'\",]+"
    r"|(?P<key>\b(?:password|passwd|secret|token|api[_-]?key)\b['\"]?\s*[:=]\s*['\"]?)[^\s'\",]+",
    re.IGNORECASE,
)


class Masking:
    """Takes secrets out of text: those that the configuration names, and what looks like one."""

    def __init__(self) -> None:
        self._known: tuple[str, ...] = ()

    def learn(self, config: Config) -> None:
        """Know the secrets that ``config`` names from now on, beside those known before."""
        found = {secret for secret in _secrets(plain(config)) if len(secret) >= _SHORTEST}
        self._known = tuple(sorted(found.union(self._known), key=len, reverse=True))

    def __call__(self, text: str) -> str:
        """``text`` with a mark in place of each secret."""
        for secret in self._known:
            text = text.replace(secret, MASK)
        return _TELLING.sub(lambda found: f"{found[found.lastgroup or 0]}{MASK}", text)


def _secrets(table: Any, key: str = "") -> Iterator[str]:
    """The values behind all keys like ``secret_file`` and ``password_env``."""
    if isinstance(table, Mapping):
        for name, value in table.items():
            yield from _secrets(value, str(name))
    elif isinstance(table, list | tuple):
        for value in table:
            yield from _secrets(value, key)
    elif isinstance(table, str) and _SECRET_KEY.search(key):
        yield from _read(key, table)


def _read(key: str, value: str) -> Iterator[str]:
    if key.endswith("_env"):
        yield os.environ.get(value, "").strip()
    elif key.endswith("_file"):
        try:
            yield Path(value).expanduser().read_text(encoding="utf-8").strip()
        except (OSError, ValueError, RuntimeError):
            return  # whoever needs it says so


class ForPeople(logging.Formatter):
    """``18:04:12 warning store: what happened``, times in UTC, one visible line a record."""

    def __init__(self, masking: Masking) -> None:
        super().__init__()
        self._masking = masking

    def format(self, record: logging.LogRecord) -> str:
        clock = time.strftime("%H:%M:%S", time.gmtime(record.created))
        place = record.name.removeprefix("watchkeeper.")
        line = clean(f"{clock} {record.levelname.lower()} {place}: {self._masking(record.getMessage())}", 2000)
        if record.exc_info and record.levelno >= logging.ERROR:
            line += "\n" + self._masking(self.formatException(record.exc_info))
        return line


class AsJson(logging.Formatter):
    """One JSON object a line: ``at``, ``level``, ``logger``, ``message`` and, where there was one, ``trace``."""

    def __init__(self, masking: Masking) -> None:
        super().__init__()
        self._masking = masking

    def format(self, record: logging.LogRecord) -> str:
        told = {
            "at": stamp(round(record.created * 1000)),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": self._masking(record.getMessage()),
        }
        if record.exc_info:
            told["trace"] = self._masking(self.formatException(record.exc_info))
        return json.dumps(told)


class StreamLog(logging.Handler):
    """Writes to a stream from a thread of its own, so that a reader who stops reading never holds up the watch."""

    def __init__(self, stream: TextIO) -> None:
        super().__init__()
        self._outlet: Outlet[str] = Outlet(lambda line: print(line, file=stream, flush=True), LINES_WAITING)

    def emit(self, record: logging.LogRecord) -> None:
        try:
            self._outlet.put(self.format(record))
        except Exception:
            self.handleError(record)

    def close(self) -> None:
        self._outlet.close()
        super().close()


def set_up(masking: Masking, *, file: Path | None = None, stream: TextIO | None = None) -> logging.Handler:
    """Log to ``file``, else to ``stream`` (standard error); returns the handler for :func:`tear_down`."""
    handler: logging.Handler
    if file is not None:
        handler = RotatingFileHandler(file, maxBytes=FILE_BYTES, backupCount=1, encoding="utf-8", delay=True)
        handler.setFormatter(AsJson(masking))
    else:
        stream = stream or sys.stderr
        handler = StreamLog(stream)
        handler.setFormatter(ForPeople(masking) if stream.isatty() else AsJson(masking))
    root = logging.getLogger()
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    logging.getLogger("watchkeeper").setLevel(logging.INFO)
    logging.captureWarnings(capture=True)
    return handler


def tear_down(handler: logging.Handler) -> None:
    """Write what waits and log there no more."""
    logging.captureWarnings(capture=False)
    logging.getLogger().removeHandler(handler)
    handler.close()


@contextmanager
def logged(masking: Masking, file: Path | None) -> Iterator[None]:
    """Log meanwhile: to ``file``, whose folder is made, else to standard error."""
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
    handler = set_up(masking, file=file)
    try:
        yield
    finally:
        tear_down(handler)
