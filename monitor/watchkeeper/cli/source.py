"""``watchkeeper source``: for those who write adapters between a decoder and the watch."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import msgspec

from ..faces.clean import clean
from ..intake.arrival import Peer
from ..intake.judging import Check, SourceJudge, Verdict
from ..intake.seal import Seal, SealKeyError, load_key
from ..intake.udp import IntakeError, UdpIntake
from ..schema.wire import DEFAULT_PORT, Decoded
from .options import fail
from .traffic import describe


@click.group()
def command() -> None:
    """Judge what a decoder program or its adapter sends.

    \b
    Example:
      watchkeeper source check 90
    """


@command.command()
@click.argument("seconds", type=click.FloatRange(min=0, min_open=True), default=60.0)
@click.option("--address", default="127.0.0.1", show_default=True, help="Where to listen.")
@click.option("--port", type=click.IntRange(0, 65535), default=DEFAULT_PORT, show_default=True, help="UDP port.")
@click.option("--source", help="Judge this source alone. [default: all that send]")
@click.option("--key-file", type=click.Path(path_type=Path, dir_okay=False), help="Take only what this key has sealed.")
@click.option("--show", is_flag=True, help="Show on standard error whatever arrives.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def check(
    seconds: float, address: str, port: int, source: str | None, key_file: Path | None, show: bool, as_json: bool
) -> None:
    """Listen in the watch's place for SECONDS (60) and judge what comes, rule by rule.

    Nothing is logged and no receipt is sent: a sender that asked repeats its contact to the watch later. Status 1 when
    a rule is broken, or nothing came.

    \b
    Example: watchkeeper source check 90 --source mydecoder
    """
    judge = SourceJudge(source, _now_ms())
    try:
        seal = None if key_file is None else Seal(load_key(file=key_file))
        asyncio.run(_listen(judge, address, port, seal, seconds, _show if show else _silent))
    except (IntakeError, SealKeyError) as error:
        fail(error)
    checks = judge.checks()
    passed = sum(judge.kinds.values()) > 0 and not any(one.verdict is Verdict.FAILED for one in checks)
    if as_json:
        click.echo(msgspec.json.encode(_told(judge, checks, passed=passed)).decode())
    else:
        _report(judge, checks)
    if not passed:
        raise SystemExit(1)


Shower = Callable[[Peer, bytes, Decoded, int], None]


def _show(peer: Peer, datagram: bytes, decoded: Decoded, arrived_ms: int) -> None:
    for line in describe(peer, datagram, decoded, arrived_ms):
        click.echo(line, err=True)


def _silent(peer: Peer, datagram: bytes, decoded: Decoded, arrived_ms: int) -> None:
    pass


async def _listen(judge: SourceJudge, address: str, port: int, seal: Seal | None, seconds: float, show: Shower) -> None:
    loop = asyncio.get_running_loop()

    def watcher(peer: Peer, datagram: bytes, decoded: Decoded) -> None:
        now_ms = _now_ms()
        judge.note(datagram, decoded, now_ms)
        show(peer, datagram, decoded, now_ms)

    intake = UdpIntake(loop, address, port, lambda _: None, _now_ms, seal, watcher)
    ended = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, ended.set)
    intake.start()
    place, bound = intake.address
    click.echo(f"listening on {place} port {bound} for {seconds:g} s", err=True)
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(ended.wait(), seconds)
    intake.stop()


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _told(judge: SourceJudge, checks: list[Check], *, passed: bool) -> dict[str, Any]:
    return {
        "passed": passed,
        "kinds": dict(judge.kinds),
        "checks": [one._asdict() for one in checks],
    }


def _report(judge: SourceJudge, checks: list[Check]) -> None:
    came = ", ".join(f"{count} {kind}" for kind, count in judge.kinds.items() if count)
    click.echo(came or "nothing came")
    for one in checks:
        click.echo(f"{one.verdict.value:<8} {one.rule}" + (f": {clean(one.why)}" if one.why else ""))
