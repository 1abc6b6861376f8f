"""The data folder: where it is, what lies in it, and the lock that keeps a second watch out."""

from __future__ import annotations

import errno
import fcntl
import os
from pathlib import Path
from typing import Self

import platformdirs

from .errors import FolderError, StoreHeldError

DATABASE = "watchkeeper.db"
ADIF_COPY = "adif-copy"
LOCK = "watch.lock"
#: where a standing watch is asked
SOCKET = "watch.sock"
VARIABLE = "WATCHKEEPER_DATA"


def data_folder(option: Path | None = None) -> Path:
    """The data folder: ``option``, else the environment's ``WATCHKEEPER_DATA``, else the platform's own place."""
    if option is not None:
        return option.expanduser()
    named = os.environ.get(VARIABLE)
    if named:
        return Path(named).expanduser()
    return Path(platformdirs.user_data_dir("watchkeeper", appauthor=False))


class FolderLock:
    """An exclusive lock on a data folder, held by this process until :meth:`release`.

    The kernel drops it when the process dies, so there is no stale lock; the process number in the file is
    information only.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    @classmethod
    def take(cls, folder: Path) -> Self:
        """Make ``folder`` where it is missing and lock it. Raises FolderError or StoreHeldError."""
        try:
            folder.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as fault:
            raise FolderError(f"the data folder {folder} cannot be written: {fault.strerror}") from fault
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            pid = _noted_pid(descriptor)
            os.close(descriptor)
            if fault.errno in (errno.EWOULDBLOCK, errno.EACCES):
                raise StoreHeldError(folder, pid) from None
            raise FolderError(f"the data folder {folder} cannot be locked: {fault.strerror}") from fault
        try:
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
        except OSError as fault:  # a full disk: the lock stands all the same, and the store will say what is wrong
            if fault.errno != errno.ENOSPC:
                os.close(descriptor)
                raise FolderError(f"the data folder {folder} cannot be written: {fault.strerror}") from fault
        return cls(descriptor)

    def release(self) -> None:
        """Let the folder go."""
        os.close(self._descriptor)


def _noted_pid(descriptor: int) -> int | None:
    text = os.pread(descriptor, 32, 0).strip()
    return int(text) if text.isdigit() else None
