"""``watchkeeper preflight``: is everything right before the first call?"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from .options import data_option, fail

_AGAIN_S = 2.0
_SIGNS = {"good": "[good]", "waiting": "[wait]", "poor": "[POOR]"}
Check = dict[str, Any]


@click.command()
@data_option
@click.option("--follow", is_flag=True, help="Go on looking, and say what turned good or poor, until all is good.")
@click.option("--json", "as_json", is_flag=True, help='One JSON object: {"ready", "checks", "cautions"}.')
def command(data: Path | None, follow: bool, as_json: bool) -> None:
    """Go through the checks before the first call; each turns good by evidence, and says what to do until then.

    It reads only: nothing here keys the transmitter; it says when you may. The exit code is 0 when nothing is poor and
    nothing waits, else 1.

    \b
    Example:
      watchkeeper preflight --follow
    """
    from ..cautions import PREFLIGHT
    from ..store.folder import data_folder

    path = data_folder(data) / "watch.sock"
    checks = _ask(path)
    if as_json:
        told = {"ready": _ready(checks), "checks": checks, "cautions": list(PREFLIGHT)}
        click.echo(json.dumps(told, ensure_ascii=False))
    else:
        for check in checks:
            _say(check)
        click.echo()
        for sentence in PREFLIGHT:
            click.echo(sentence)
    if follow and not as_json:
        checks = _follow(path, checks)
    sys.exit(0 if _ready(checks) else 1)


def _ask(path: Path) -> list[Check]:
    from ..faces.source import ActRefusedError, NoDaemonError, ask

    try:
        checks: list[Check] = ask(path, "/api/preflight")["checks"]
    except (NoDaemonError, ActRefusedError) as error:
        fail(error)
    return checks


def _follow(path: Path, checks: list[Check]) -> list[Check]:
    while not _ready(checks):
        time.sleep(_AGAIN_S)
        before = {check["key"]: check["state"] for check in checks}
        checks = _ask(path)
        for check in checks:
            if before.get(check["key"]) != check["state"]:
                _say(check)
    click.echo("everything is good")
    return checks


def _ready(checks: Iterable[Check]) -> bool:
    return all(check["state"] == "good" for check in checks)


def _say(check: Check) -> None:
    click.echo(f"{_SIGNS[check['state']]} {check['label']}: {check['evidence']}")
    if check["remedy"] and check["state"] != "good":
        click.echo(f"       → {check['remedy']}")
    sys.stdout.flush()
