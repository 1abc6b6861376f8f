"""``watchkeeper plugin``: for those who write plugins."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .exits import Exit
from .options import fail

if TYPE_CHECKING:
    from ..authoring.conformance import Judged


@click.group()
def command() -> None:
    """For those who write plugins.

    \b
    Example:
      watchkeeper plugin new far_away
      watchkeeper plugin check far_away
    """


@command.command()
def docs() -> None:
    """Print the page for plugin authors, in Markdown.

    \b
    Example: watchkeeper plugin docs > plugins.md
    """
    from ..authoring.manual import page

    click.echo(page(), nl=False)


@command.command()
@click.argument("name")
@click.option(
    "--in",
    "parent",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    default=".",
    help="Where the folder NAME is made. [default: here]",
)
def new(name: str, parent: Path) -> None:
    """Write a plugin NAME to start from: a folder with hooks, configuration, tests and packaging.

    \b
    Example: watchkeeper plugin new far_away
    """
    from ..authoring.making import MakingError, make
    from ..host.discovery import installed

    taken = {each.name: each.distribution or "an installed package" for each in installed()}
    try:
        folder = make(name, parent, taken)
    except MakingError as error:
        fail(error)
    click.echo(f"{folder} is a plugin. Install it with: pip install --editable {shlex.quote(str(folder))}")
    click.echo(f"Whether it is fit to run: watchkeeper plugin check {shlex.quote(str(folder))}")


@command.command()
@click.argument("target", metavar="PATH|NAME")
@click.option("--json", "as_json", is_flag=True, help='One JSON object: {"passed", "plugins"}.')
def check(target: str, as_json: bool) -> None:
    """Judge a plugin rule by rule: a project, a folder of plugins, a single file, or an installed plugin by its name.

    Each trial runs the plugin with its default configuration, in a process of its own. Status 1 when a rule is broken.

    \b
      metadata     its import, its name and the edition of the hooks
      imports      nothing of the program's but api, radio, adif and view
      config       a default for every key, and bounds that the defaults keep
      hooks        known hooks with the right arguments, each with its mark; what it needs is there
      faults       no hook raises in a busy evening, and none floods hails
      time         every call returns within 50 ms, the notes on a burst within 100 ms
      views        what it shows can be sent to every face
      hails        each has a key, a rule and a sentence
      determinism  the same events give the same hails and views
      start        async_start succeeds in time
      background   async_run ends by no error, and no task or callback of its own raises
      blocking     nothing waits or computes long on the loop's thread
      stop         async_run returns within a second of the stop; no task and no thread is left

    \b
    Example: watchkeeper plugin check ./far_away
    """
    from ..authoring.conformance import judge
    from ..authoring.target import TargetError

    try:
        judged = judge(target)
    except TargetError as error:
        fail(error)
    passed = all(one.passed for one in judged)
    if as_json:
        click.echo(json.dumps({"passed": passed, "plugins": [_told(one) for one in judged]}, ensure_ascii=False))
    else:
        for one in judged:
            _report(one)
    if not passed:
        raise SystemExit(Exit.FAILED)


def _told(one: Judged) -> dict[str, Any]:
    return {
        "name": one.name,
        "distribution": one.distribution,
        "passed": one.passed,
        "checks": [check._asdict() for check in one.checks],
    }


def _report(one: Judged) -> None:
    from ..faces.clean import clean

    click.echo(clean(" ".join(filter(None, (f"{one.name}:", one.distribution, one.version)))))
    for check in one.checks:
        click.echo(f"  {check.verdict.value:<8} {check.rule}" + (f": {clean(check.why)}" if check.why else ""))
