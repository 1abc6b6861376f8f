"""``watchkeeper log check``: what in a log breaks the ADIF standard, with place and mend."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import click

from watchkeeper.adif import Problem, check

#: exit codes: all well, errors in the log, a file that cannot be read
SOUND, FAULTY, UNREADABLE = 0, 1, 2


def check_files(paths: Sequence[str], as_json: bool) -> int:
    """Check ADIF files (``-`` is the standard input), print the problems, and return the exit code.

    As JSON: one object ``{"records":…,"problems":[…]}`` for all files together; when there are several, each problem
    names its ``file``. A file that cannot be read ends the run with one line on the standard error output.
    """
    records = 0
    seen: Counter[str] = Counter()
    listed: list[dict[str, object]] = []
    for path in paths:
        name = "standard input" if path == "-" else path
        try:
            with _opened(path) as stream:
                checked = check(stream)
                for problem in checked:
                    seen[problem.severity] += 1
                    if as_json:
                        listed.append(problem._asdict() | ({"file": name} if len(paths) > 1 else {}))
                    else:
                        click.echo(_line(name, problem))
        except OSError as error:
            click.echo(f"{click.format_filename(name)} cannot be read: {error.strerror or error}", err=True)
            return UNREADABLE
        records += checked.records
    if as_json:
        click.echo(json.dumps({"records": records, "problems": listed}, ensure_ascii=False))
    else:
        click.echo(
            f"{_counted(records, 'record')}, {_counted(seen['error'], 'error')}, {_counted(seen['warning'], 'warning')}"
        )
    return FAULTY if seen["error"] else SOUND


@contextmanager
def _opened(path: str) -> Iterator[BinaryIO]:
    if path == "-":
        yield sys.stdin.buffer
        return
    with Path(path).open("rb") as stream:
        yield stream


def _line(name: str, problem: Problem) -> str:
    place = f"record {problem.record}" if problem.record else "header"
    field = f", {problem.field}" if problem.field else ""
    return f"{click.format_filename(name)}:{problem.line}: {problem.severity}: {place}{field}: {problem.why}"


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
