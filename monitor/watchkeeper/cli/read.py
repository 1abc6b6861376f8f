"""``watchkeeper read``: what a message says, from whom, to whom, and whether it can be believed."""

from __future__ import annotations

from pathlib import Path

import click
import msgspec

from watchkeeper.cli.entities import use_newest
from watchkeeper.cli.lines import answer
from watchkeeper.faces.clean import clean
from watchkeeper.radio import credibility, message
from watchkeeper.radio.credibility import Credibility, Evidence
from watchkeeper.radio.message import Form, Part, Reading, Step
from watchkeeper.view import minus


class Line(msgspec.Struct):
    """One answer as JSON; null for what the message does not say."""

    text: str
    type: Form
    sender: str | None
    addressee: str | None
    step: Step | None
    report_db: int | None
    locator: str | None
    directed_to: str | None
    exchange: str | None
    free_text: str | None
    sender_hashed: bool
    addressee_hashed: bool
    parts: tuple[Part, ...] | None
    credible: bool
    reasons: tuple[str, ...]


_encode = msgspec.json.Encoder().encode

_STEPS: dict[Step | None, str] = {
    "calling": "calls",
    "answering": "answers",
    "report": "gives a report",
    "roger_report": "acknowledges and gives a report",
    "roger": "acknowledges",
    "roger_farewell": "acknowledges and says goodbye",
    "farewell": "says goodbye",
    "free_text": "free text",
    "telemetry": "telemetry",
    None: "no message of the protocol",
}


# A message may begin with a hyphen (free text does now and then) and must not be taken for an option.
@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("messages", nargs=-1, required=True, metavar='"MESSAGE"...')
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.option(
    "--data", type=click.Path(path_type=Path, file_okay=False), help="The data folder. [default: the platform's]"
)
def command(messages: tuple[str, ...], as_json: bool, data: Path | None) -> None:
    """Take each "MESSAGE" of the FT8 and FT4 family apart; - reads them from the standard input, one a line.

    Credible means: as far as the message alone tells. Any text is answered; what is no message is of type "other", and
    the exit code is 0 then as well.

    \b
    Example:
      watchkeeper read "CQ DL5QRM JO62"
    """
    for text in messages:
        if text.startswith("--"):
            raise click.NoSuchOption(text)
    use_newest(data)
    answer(messages, _json if as_json else _text)


def _judge(reading: Reading) -> Credibility:
    return credibility.judge(Evidence(reading.sender, reading))


def _json(text: str) -> bytes:
    found = message.read(text)
    verdict = _judge(found)
    return _encode(
        Line(
            found.text,
            found.type,
            found.sender,
            found.addressee,
            found.step,
            found.report_db,
            found.locator,
            found.directed_to,
            found.exchange,
            found.free_text,
            found.sender_hashed,
            found.addressee_hashed,
            found.parts,
            verdict.credible,
            verdict.reasons,
        )
    )


def _text(text: str) -> str:
    found = message.read(text)
    verdict = _judge(found)
    said = [*(_part(part, found.directed_to) for part in found.all_parts)] or [_STEPS[found.step]]
    if found.locator:
        said.append(f"locator {found.locator}")
    if found.exchange:
        said.append(f"exchange {found.exchange}")
    belief = "credible" if verdict.credible else "doubtful"
    because = f" ({'; '.join(verdict.reasons)})" if verdict.reasons else ""
    return clean(f"{found.text}: {', '.join(said)}; {belief}{because}")


def _part(part: Part, directed_to: str | None) -> str:
    """Say who tells what to whom."""
    report = f" of {minus(f'{part.report_db:+d}')} dB" if part.report_db is not None else ""
    sender, everybody = _name(part.sender, part.sender_hashed), directed_to or "all"
    addressee = _name(part.addressee, part.addressee_hashed) if part.addressee or part.addressee_hashed else everybody
    to = "" if part.step in ("calling", "answering") else "to "
    return f"{sender} {_STEPS[part.step]}{report} {to}{addressee}"


def _name(call: str | None, hashed: bool) -> str:
    if call is None:
        return "an unresolved station"
    return f"{call} (told by a hash)" if hashed else call
