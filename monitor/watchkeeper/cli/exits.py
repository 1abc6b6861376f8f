"""What the exit codes of all commands mean. The overview of ``watchkeeper --help`` prints this table.

A few commands say more in their own help: ``log check`` and ``config check`` give 1 when they found something.
"""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """How a command ended."""

    DONE = 0
    FAILED = 1
    USAGE = 2  # click's own: the command line is not understood
    CONFIG = 3
    HELD = 4


#: what each means, in the words of the overview
MEANINGS: dict[Exit, str] = {
    Exit.DONE: "done",
    Exit.FAILED: "what was asked for failed, or was found to be bad",
    Exit.USAGE: "the command line was not understood",
    Exit.CONFIG: "the configuration is bad: the same start fails again",
    Exit.HELD: "another watch has the data folder or the port",
}
