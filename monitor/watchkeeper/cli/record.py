"""``watchkeeper record``: a session's journal as JSON Lines."""

from __future__ import annotations

from pathlib import Path
from typing import IO

import click

from .options import data_option, fail


@click.command()
@click.argument("session", type=int, required=False)
@data_option
@click.option("--out", type=click.File("wb"), default="-", help="File to write; standard output when not given.")
def command(session: int | None, data: Path | None, out: IO[bytes]) -> None:
    """Export the journal of SESSION (the newest when not given), one entry a line behind a header.

    Works beside a running watch. What comes out holds everything that a replay needs but the contacts that were in the
    log before.

    \b
    Example:
      watchkeeper record --out evening.jsonl && watchkeeper replay evening.jsonl
    """
    import msgspec

    from ..store.database import reading
    from ..store.errors import StoreError
    from ..store.folder import data_folder
    from ..store.sessions import entries, sessions
    from ..watch.journal import Header

    folder = data_folder(data)
    try:
        with reading(folder) as db:
            rows = list(sessions(db))
            row = next((one for one in rows if session in (None, one.id)), None)
            if row is None:
                known = ", ".join(str(one.id) for one in rows[:10]) or "none"
                fail(f"no session {session if session is not None else ''} in {folder}; there are: {known}")
            header = msgspec.json.decode(row.header, type=Header)
            out.write(msgspec.json.encode(msgspec.structs.replace(header, baseline=row.baseline)) + b"\n")
            for line in entries(db, row.id):
                out.write(line if line.endswith(b"\n") else line + b"\n")
    except StoreError as error:
        fail(error)
