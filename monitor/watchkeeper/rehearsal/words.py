"""What stations say: the text of each message as the decoders of others show it.

Message structures after Franke, Somerville and Taylor, QEX July/August 2020 (from memory): a call that does not fit the
standard form travels in full only in ``CQ`` and farewell messages; elsewhere a hash of 10, 12 or 22 bits stands for it,
and a decoder that has not heard the call shows ``<...>``, or the wrong call when two share a hash.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

_ALPHABET = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ/"
_HASH_FACTOR = 47_055_833_459
#: what 58 bits hold
LONGEST_CALL = 11


class Say(StrEnum):
    """The steps of an exchange."""

    CALL = "call"  # CQ
    ANSWER = "answer"  # with the locator
    REPORT = "report"
    ROGER_REPORT = "roger report"
    ROGER_LOCATOR = "roger locator"
    ROGER_FAREWELL = "roger farewell"  # RR73
    FAREWELL = "farewell"  # 73


#: what is said next after hearing this from the partner
REPLY: dict[Say, Say] = {
    Say.ANSWER: Say.REPORT,
    Say.REPORT: Say.ROGER_REPORT,
    Say.ROGER_REPORT: Say.ROGER_FAREWELL,
    Say.ROGER_LOCATOR: Say.ROGER_FAREWELL,
    Say.ROGER_FAREWELL: Say.FAREWELL,
}
#: the same where the locator is the exchange of a contest
CONTEST_REPLY: dict[Say, Say] = REPLY | {Say.ANSWER: Say.ROGER_LOCATOR}


@dataclass(frozen=True, slots=True)
class Line:
    """One message before it is put in words; ``second`` is the other addressee of a multi-stream station's message."""

    say: Say
    sender: str
    locator: str
    to: str | None = None
    report_db: int = 0
    word: str | None = None  # of a directed or contest call
    second: tuple[str, int] | None = None  # who gets a report beside the farewell


def is_standard(call: str) -> bool:
    """Say whether a call sign fits a standard message: no stroke but that of a portable station."""
    return "/" not in call or call.endswith("/P")


def in_full(line: Line) -> bool:
    """Say whether a message holds its sender's call in full, so that whoever copies it knows the call from then on."""
    return is_standard(line.sender) or (
        line.second is None and line.say in (Say.CALL, Say.ANSWER, Say.ROGER_FAREWELL, Say.FAREWELL)
    )


def report_text(report_db: int) -> str:
    """Return a report as it is sent: sign and two digits."""
    return f"{max(-30, min(49, report_db)):+03d}"


def text(line: Line, shown: HashTable) -> str:
    """Return a message as a decoder with the hash table ``shown`` prints it."""
    if line.to is None:
        return _call_to_all(line)
    if line.second is not None:
        second, report_db = line.second
        return f"{line.to} RR73; {second} {shown.short(line.sender)} {report_text(report_db)}"
    if not is_standard(line.sender) and in_full(line):
        tail = {Say.ANSWER: "", Say.ROGER_FAREWELL: " RR73", Say.FAREWELL: " 73"}[line.say]
        return f"{shown.middle(line.to)} {line.sender}{tail}"
    return f"{_named(line.to, shown)} {_named(line.sender, shown)} {_tail(line)}"


def _call_to_all(line: Line) -> str:
    if not is_standard(line.sender):
        return f"CQ {line.sender}"
    word = f"{line.word} " if line.word else ""
    return f"CQ {word}{line.sender} {line.locator}"


def _named(call: str, shown: HashTable) -> str:
    return call if is_standard(call) else shown.long(call)


def _tail(line: Line) -> str:
    match line.say:
        case Say.ANSWER:
            return line.locator
        case Say.REPORT:
            return report_text(line.report_db)
        case Say.ROGER_REPORT:
            return f"R{report_text(line.report_db)}"
        case Say.ROGER_LOCATOR:
            return f"R {line.locator}"
        case Say.ROGER_FAREWELL:
            return "RR73"
        case _:
            return "73"


def call_hash(call: str, bits: int) -> int:
    """Return the hash of a call sign: the top bits of a product modulo 2^64 (rule from memory)."""
    number = 0
    for character in call[:LONGEST_CALL].ljust(LONGEST_CALL):
        number = number * len(_ALPHABET) + _ALPHABET.index(character)
    return (number * _HASH_FACTOR % 2**64) >> (64 - bits)


@dataclass(slots=True)
class HashTable:
    """The calls that one decoder has heard in full, by their hash. The newest with a hash hides the older ones."""

    own: str
    _calls: dict[tuple[int, int], str] = field(default_factory=dict)
    _known: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.hear(self.own)

    def hear(self, call: str) -> None:
        """Remember a call that was heard in full."""
        if call not in self._known:
            self._known.add(call)
            for bits in (10, 12, 22):
                self._calls[bits, call_hash(call, bits)] = call

    def short(self, call: str) -> str:
        """Return what stands for ``call`` where ten bits are sent."""
        return self._shown(call, 10)

    def middle(self, call: str) -> str:
        """Return what stands for ``call`` where twelve bits are sent."""
        return self._shown(call, 12)

    def long(self, call: str) -> str:
        """Return what stands for ``call`` where 22 bits are sent."""
        return self._shown(call, 22)

    def _shown(self, call: str, bits: int) -> str:
        return f"<{self._calls.get((bits, call_hash(call, bits)), '...')}>"
