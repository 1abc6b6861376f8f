"""``watchkeeper feed``: the lines of any text output become events of a watch."""

from __future__ import annotations

import os
import select
import signal
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date, datetime
from itertools import islice
from pathlib import Path

import click
import msgspec

from ..faces.clean import clean
from ..intake.line_feed import WINDOW, LineFeed
from ..intake.lines import MAX_LINE_BYTES, LineReader
from ..intake.pattern import PatternError, load
from ..intake.seal import SealKeyError, load_key
from ..intake.tail import CHUNK, LineSplitter, Tail
from ..schema.events import Source
from ..schema.wire import DEFAULT_PORT
from ..sender import Sender

#: how often a followed file is looked at; a burst ends after 200 ms of silence
POLL_S = 0.1


def place(ctx: click.Context, param: click.Parameter, value: str) -> tuple[str, int]:
    """``HOST:PORT``, ``HOST`` or ``[IPv6]:PORT``."""
    host, _, port = value.rpartition(":") if value.count(":") == 1 or "]:" in value else (value, "", "")
    if port and not (port.isascii() and port.isdigit() and 0 < int(port) < 65536):
        raise click.BadParameter(f"{port!r} is no port", ctx, param)
    return host.strip("[]"), int(port or DEFAULT_PORT)


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, allow_dash=True), default=Path("-"))
@click.option(
    "--pattern",
    "pattern_file",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    help="How the lines are to be read (TOML).",
)
@click.option(
    "--to",
    metavar="HOST:PORT",
    callback=place,
    default=f"127.0.0.1:{DEFAULT_PORT}",
    show_default=True,
    help="Where the watch listens.",
)
@click.option("--source", default="lines", show_default=True, help="The name that the watch knows them by.")
@click.option("--follow/--no-follow", default=False, help="Wait for more lines, across rotation. [default: no-follow]")
@click.option("--new-only", is_flag=True, help="With --follow: pass over what the file holds now.")
@click.option("--date", "day", type=click.DateTime(["%Y-%m-%d"]), help="The day of the first line, if lines tell none.")
@click.option("--recorded", is_flag=True, help="The lines are from the past: keep what was heard, but raise no hail.")
@click.option("--set", "settings", multiple=True, metavar="FIELD=VALUE", help="A value that the lines leave out.")
@click.option("--key-file", type=click.Path(path_type=Path, dir_okay=False), help="Seal what is sent with this key.")
@click.option("--json", "as_json", is_flag=True, help="End with one JSON object.")
def command(
    file: Path,
    pattern_file: Path,
    to: tuple[str, int],
    source: str,
    follow: bool,
    new_only: bool,
    day: datetime | None,
    recorded: bool,
    settings: tuple[str, ...],
    key_file: Path | None,
    as_json: bool,
) -> None:
    """Read the lines of FILE, or of the standard input, by a pattern and send them to a watch.

    A line that the pattern does not fit is counted, and the first few are shown with the reason. Patterns to start
    from stand in configs/patterns.

    \b
    Example: somedecoder | watchkeeper feed --pattern words.toml --set dial_hz=14074000
    """
    sender = _sender(source, to, key_file)
    try:
        pattern = load(pattern_file, _settings(settings))
    except PatternError as error:
        raise click.ClickException(str(error)) from None
    reader = LineReader(pattern, lambda: time.time_ns() // 1_000_000, _day(day))
    feed = LineFeed(reader, sender, live=not recorded)
    try:
        _run(feed, _chunks(file, follow=follow, new_only=new_only, idle=feed.pump))
    except OSError as error:
        raise click.ClickException(f"{file}: {error.strerror}") from None
    finally:
        sender.close()
    _report(feed, to, as_json=as_json)


def _sender(source: str, to: tuple[str, int], key_file: Path | None) -> Sender:
    try:
        msgspec.convert(source, Source)
    except msgspec.ValidationError:
        raise click.BadParameter(f"{source!r}: 1 to 32 of A-Z a-z 0-9 . _ -", param_hint="--source") from None
    try:
        return Sender(source, to, key=None if key_file is None else load_key(file=key_file))
    except SealKeyError as error:
        raise click.ClickException(str(error)) from None
    except OSError as error:
        raise click.BadParameter(f"{to[0]}: {error.strerror}", param_hint="--to") from None


def _settings(settings: tuple[str, ...]) -> dict[str, str]:
    pairs = (setting.partition("=") for setting in settings)
    made = {name: value for name, mark, value in pairs if mark}
    if len(made) != len(settings):
        raise click.BadParameter("each field once, as FIELD=VALUE", param_hint="--set")
    return made


def _day(day: datetime | None) -> date | None:
    return None if day is None else day.date()


def _run(feed: LineFeed, chunks: Iterator[list[bytes]]) -> None:
    """Feed until the lines end or the operator ends it; either way the account is complete."""
    for number in (signal.SIGINT, signal.SIGTERM):  # a script's background job is born with SIGINT ignored
        signal.signal(number, signal.default_int_handler)
    try:
        for lines in chunks:
            feed.feed(lines)
    except KeyboardInterrupt:
        pass
    feed.pump(wait=True)


def _chunks(file: Path, *, follow: bool, new_only: bool, idle: Callable[[], None]) -> Iterator[list[bytes]]:
    """Lines as they come, at most a window at a time; ``idle`` is called while there are none."""
    splitter = LineSplitter(MAX_LINE_BYTES)
    pieces = _from_stdin(idle) if str(file) == "-" else _from_file(file, follow=follow, new_only=new_only, idle=idle)
    for piece, begins in pieces:
        if begins:
            yield list(splitter.flush())
        lines = splitter.feed(piece)
        while some := list(islice(lines, WINDOW)):
            yield some
    yield list(splitter.flush())


def _from_stdin(idle: Callable[[], None]) -> Iterator[tuple[bytes, bool]]:
    source = sys.stdin.fileno()
    while True:
        if not select.select([source], [], [], POLL_S)[0]:
            idle()
            continue
        data = os.read(source, CHUNK)
        if not data:
            return
        yield data, False


def _from_file(file: Path, *, follow: bool, new_only: bool, idle: Callable[[], None]) -> Iterator[tuple[bytes, bool]]:
    if not follow:
        with file.open("rb") as stream:
            while data := stream.read(CHUNK):
                yield data, False
        return
    tail = Tail(file, at_end=new_only)
    try:
        while True:
            chunk = tail.read()
            if chunk is None:
                idle()
                time.sleep(POLL_S)
            else:
                yield chunk
    finally:
        tail.close()


def _report(feed: LineFeed, to: tuple[str, int], *, as_json: bool) -> None:
    for example in feed.examples:
        click.echo(f"line {example['line']}: {example['why']}: {clean(example['text'])}", err=True)
    if feed.sent and not feed.confirmed:
        click.echo(f"nobody at {to[0]} port {to[1]} confirmed: is a watch standing there?", err=True)
    if as_json:
        click.echo(msgspec.json.encode(feed.summary()).decode())
    else:
        click.echo(
            f"{feed.lines} lines: {feed.matched} read, {feed.skipped} passed over, {feed.unmatched} not read; "
            f"{feed.sent} sent, {feed.refused} refused"
        )
    if feed.lines and not feed.matched:
        raise click.ClickException("no line could be read by this pattern")
