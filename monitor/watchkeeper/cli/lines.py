"""Answers by the line: one for each argument, and where that is ``-`` for each line of the standard input."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import cast

_READ_BYTES = 65536


def answer(questions: Iterable[str], tell: Callable[[str], str | bytes]) -> None:
    """Write what ``tell`` answers to each question, in order.

    ``-`` stands for the lines of the standard input, blank ones left out. Whatever has arrived is answered at once, so
    another program can ask and wait.
    """
    output = sys.stdout.buffer
    for batch in _batches(questions):
        lines = (tell(question) for question in batch)
        output.write(b"".join((line.encode() if isinstance(line, str) else line) + b"\n" for line in lines))
        output.flush()


def _batches(questions: Iterable[str]) -> Iterator[list[str]]:
    for question in questions:
        if question == "-":
            yield from _standard_input()
        else:
            yield [_argument(question)]


def _argument(text: str) -> str:
    """An argument, its bytes that are no UTF-8 replaced as they are in the standard input."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _standard_input() -> Iterator[list[str]]:
    read = cast("io.BufferedReader", sys.stdin.buffer).read1  # returns what is there instead of waiting for more
    rest = b""
    while chunk := read(_READ_BYTES):
        *lines, rest = (rest + chunk).split(b"\n")
        yield _texts(lines)
    yield _texts([rest])


def _texts(lines: list[bytes]) -> list[str]:
    texts = (line.decode(errors="replace").strip() for line in lines)
    return [text for text in texts if text]
