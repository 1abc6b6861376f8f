"""``watchkeeper init``: a first configuration from five questions, or from flags."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from urllib.parse import urlsplit

import click

from .exits import Exit
from .options import fail

if TYPE_CHECKING:
    from ..config import Loaded

_BATTERY = re.compile(r"(?P<ah>\d+(?:\.\d+)?)\s*(?:Ah)?\s*(?P<chemistry>[A-Za-z][A-Za-z0-9-]*)?", re.IGNORECASE)
_LOGS = {"http": "http", "https": "http", "udp": "udp", "tcp": "tcp"}


class Answers(NamedTuple):
    """What the operator said; None is "not set"."""

    call: str | None
    locator: str | None
    power_w: float | None
    battery: tuple[float, str] | None
    log_url: str | None


@click.command()
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--call", help="Your call sign as sent on the air.")
@click.option("--locator", help="Your locator, like JO62qm.")
@click.option("--power", type=float, metavar="WATTS", help="What your transmitter puts out.")
@click.option("--battery", metavar="AH[ CHEMISTRY]", help="The battery, like '20 LiFePO4'.")
@click.option("--log-url", metavar="URL", help="Where contacts go beside the ADIF file: http(s)://, udp:// or tcp://.")
@click.option("--yes", is_flag=True, help="Ask nothing: what is not given stays unset.")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
def command(
    file: Path | None,
    call: str | None,
    locator: str | None,
    power: float | None,
    battery: str | None,
    log_url: str | None,
    yes: bool,
    force: bool,
) -> None:
    """Write a first configuration to FILE (the usual one if not given), with each key explained.

    It asks for what no option gives: call sign, locator, power, battery, and where contacts go. All but the call sign
    may be left empty. An answer that cannot be right is asked for again.

    \b
    Example:
      watchkeeper init --call DL5QRM --locator JO62qm --power 10 --battery "20 LiFePO4" --yes
    """
    from ..config import default_path

    path = file or default_path()
    if path.exists() and not force:
        fail(f"{path} is there already; --force writes over it")
    text = as_toml(_asked(call, locator, power, battery, log_url, ask=not yes))
    problems = problems_of(text)
    if problems:
        fail("\n".join(problems), Exit.USAGE)
    try:
        _write(path, text)
    except OSError as error:
        fail(f"{path} cannot be written: {error.strerror}")
    click.echo(f"written: {path}")
    click.echo("see what is in force with `watchkeeper config show`, then stand watch with `watchkeeper watch`")


def _asked(
    call: str | None,
    locator: str | None,
    power: float | None,
    battery: str | None,
    log_url: str | None,
    *,
    ask: bool,
) -> Answers:
    """The answers given by options, and what the operator says to the other questions."""
    if not ask and call is None:
        raise click.UsageError("with --yes, --call must be given")

    def answer(words: str, given: str | None, read: Callable[[str], object]) -> object:
        if given is not None:
            return read(given)
        if not ask:
            return None
        return click.prompt(words, default="", show_default=False, value_proc=lambda said: read(said.strip()))

    return Answers(
        call=_text(answer("Your call sign", call, _call)),
        locator=_text(answer("Your locator, like JO62qm (or nothing)", locator, _keyed("locator"))),
        power_w=_number(answer("Your power in watts (or nothing)", None if power is None else str(power), _power)),
        battery=_battery_of(answer("Your battery, like '20 LiFePO4' for 20 Ah (nothing: mains)", battery, _battery)),
        log_url=_text(answer("Where contacts go beside the ADIF file, like http://… (or nothing)", log_url, _log_url)),
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value else None


def _number(value: object) -> float | None:
    return value if isinstance(value, float) else None


def _battery_of(value: object) -> tuple[float, str] | None:
    return value if isinstance(value, tuple) else None


def _keyed(key: str) -> Callable[[str], str]:
    """Reads an answer as the station's ``key``: nothing, or what the configuration takes there."""

    def read(said: str) -> str:
        from ..config import Station, check

        if said:
            _, problems = check({key: said}, Station, "station")
            if problems:
                raise click.BadParameter(problems[0].what)
        return said

    return read


def _call(said: str) -> str:
    if not said:
        raise click.BadParameter("a watch needs to know your call sign")
    return _keyed("call")(said.upper())


def _power(said: str) -> float | None:
    from ..config import Station, check

    if not said:
        return None
    try:
        watts = float(said.lower().removesuffix("w").strip().replace(",", "."))
    except ValueError:
        raise click.BadParameter(f"{said!r} is no number of watts") from None
    _, problems = check({"power_w": watts}, Station, "station")
    if problems:
        raise click.BadParameter(problems[0].what)
    return watts


def _battery(said: str) -> tuple[float, str] | None:
    from ..radio.supply import CHEMISTRIES

    if not said:
        return None
    found = _BATTERY.fullmatch(said)
    if found is None or float(found["ah"]) <= 0:
        raise click.BadParameter(f"{said!r} is no capacity in Ah with a chemistry, like '20 LiFePO4'")
    names = {name.lower(): name for name in CHEMISTRIES}
    wanted = found["chemistry"]
    if wanted is not None and wanted.lower() not in names:
        raise click.BadParameter(f"{wanted!r} is none of {', '.join(CHEMISTRIES)}")
    return float(found["ah"]), next(iter(CHEMISTRIES)) if wanted is None else names[wanted.lower()]


def _log_url(said: str) -> str:
    if not said:
        return said
    try:
        parts = urlsplit(said)
        good = parts.scheme in _LOGS and bool(parts.hostname) and (_LOGS[parts.scheme] == "http" or bool(parts.port))
    except ValueError:
        good = False
    if not good:
        raise click.BadParameter(f"{said!r} is none of http://…, https://…, udp://host:port, tcp://host:port")
    return said


def as_toml(answers: Answers) -> str:
    """The file: what was answered, explained, and where to find the rest."""
    from ..config.showing import toml

    def line(about: str, key: str, value: object) -> str:
        unset = f"# {key} is not set" if value is None else f"{key} = {toml(value)}"
        return f"# {about}\n{unset}\n"

    parts = [
        "# Written by `watchkeeper init`. Every key that there is, with its meaning: `watchkeeper config keys`.\n"
        "# What is in force, and where it comes from: `watchkeeper config show`. A watch that stands as a service\n"
        "# reads this file again on SIGHUP (`systemctl reload watchkeeper`).\n\n"
        "[station]\n",
        line("Your call sign as sent on the air", "call", answers.call),
        line("Your locator: distances, bearings and daylight hang on it", "locator", answers.locator),
        line("Transmitter power in watts: what others will hear of you hangs on it", "power_w", answers.power_w),
    ]
    if answers.battery is not None:
        parts.append("\n[plugins.supply]\n")
        parts.append(line("The battery's capacity in Ah, as printed on it", "capacity_ah", answers.battery[0]))
        parts.append(line("What its cells are made of", "chemistry", answers.battery[1]))
    parts.append("\n[plugins.forward]\n")
    parts.append(line("Contacts go to an ADIF file a day, in `log` of the data folder", "file", value=True))
    if answers.log_url is not None:
        parts.append(_destination(answers.log_url))
    return "".join(parts)


def _destination(url: str) -> str:
    from ..config.showing import toml

    parts = urlsplit(url)
    kind = _LOGS[parts.scheme]
    lines = [
        "",
        "# And here. What cannot be delivered waits, for days: `watchkeeper outbox list` shows it.",
        f"[[plugins.forward.{kind}]]",
        'name = "home log"',
    ]
    if kind == "http":
        lines += [
            f"url = {toml(url)}",
            "# If it wants a secret, that goes into a file of its own:",
            '# secret_file = "~/.config/watchkeeper/home-log"',
        ]
    else:
        lines += [f"host = {toml(parts.hostname)}", f"port = {parts.port}"]
    return "\n".join(lines) + "\n"


def problems_of(text: str) -> list[str]:
    """All that is wrong with the file's text, plugins' sections included; a plugin that is not there judges nothing."""
    from ..config import ConfigError, load_with_origins
    from ..host.loading import available, sections

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "watchkeeper.toml"
        path.write_text(text, encoding="utf-8")
        try:
            loaded: Loaded = load_with_origins(path, environ={})
        except ConfigError as error:
            return [problem.removeprefix(f"{path}: ") for problem in error.problems]
    settings = loaded.config.plugins
    found = available(settings)
    return [
        str(problem)
        for section in sections([one for one in found if one.name in settings.sections], settings)
        for problem in section.problems
    ]


def _write(path: Path, text: str) -> None:
    """Put the whole file in place at once."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8")
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
