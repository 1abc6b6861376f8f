"""What a message of the FT8 and FT4 family says, taken apart: the value types."""

from __future__ import annotations

from functools import cached_property
from typing import Literal

import msgspec

#: the structures of the 77-bit payload, named by what they hold (type numbers of the paper's Table 1 in brackets)
Form = Literal[
    "standard",  # two calls of ordinary shape or a call to all, then a locator, report or acknowledgement (1)
    "standard_portable",  # the same with /P (2)
    "full_call",  # one compound or special call in full, the other as a hash (4)
    "two_addressees",  # a farewell to one station and a report to another, in one transmission (0.1)
    "class_and_section",  # field-day exchange (0.3, 0.4)
    "report_and_region",  # RST and state, province or serial number (3)
    "serial_and_locator",  # report, serial number and six-character locator (5)
    "telemetry",  # up to 71 bits of anything, in hexadecimal (0.5)
    "free_text",  # up to 13 characters (0.0)
    "other",  # fits none of them
]

#: how far an exchange has come with this message
Step = Literal[
    "calling",
    "answering",
    "report",
    "roger_report",
    "roger",
    "roger_farewell",
    "farewell",
    "free_text",
    "telemetry",
]

#: no exchange goes on after one of these from both sides
CLOSING: frozenset[Step] = frozenset({"roger", "roger_farewell", "farewell"})


class Part(msgspec.Struct, frozen=True):
    """What one station tells another: a whole message, or one half of the two-addressee form."""

    sender: str | None
    addressee: str | None
    step: Step | None
    report_db: int | None = None
    sender_hashed: bool = False
    addressee_hashed: bool = False


class Reading(msgspec.Struct, frozen=True, dict=True):
    """A message, read.

    Calls stand without the angle brackets of a hash. A hashed call that the decoder could not resolve is None with
    its ``…_hashed`` set; a resolved one can still be wrong, for hashes collide. In the two-addressee form all fields
    describe the first part.
    """

    text: str
    type: Form
    sender: str | None = None
    #: None in a call to all, too
    addressee: str | None = None
    step: Step | None = None
    #: signal report in dB; contest reports in the RS(T) system stand in ``exchange``
    report_db: int | None = None
    locator: str | None = None
    #: whom a directed call to all is for: ``DX``, ``EU``, ``TEST``, or three digits of a frequency
    directed_to: str | None = None
    #: contest exchange without the acknowledging R: ``6A WI``, ``579 WI``, ``570007 JO22DB``
    exchange: str | None = None
    free_text: str | None = None
    sender_hashed: bool = False
    addressee_hashed: bool = False
    #: both halves of the two-addressee form, else None
    parts: tuple[Part, ...] | None = None

    @property
    def has_parties(self) -> bool:
        """Whether the message has a sender, resolved or not."""
        return self.sender is not None or self.sender_hashed

    @property
    def is_call_to_all(self) -> bool:
        """Whether it is addressed to everybody: CQ, QRZ or DE."""
        return self.has_parties and self.addressee is None and not self.addressee_hashed

    @property
    def is_closing(self) -> bool:
        """Whether it acknowledges the report or says goodbye."""
        return self.step in CLOSING

    @cached_property
    def all_parts(self) -> tuple[Part, ...]:
        """The message part by part, whatever its form; nothing for one without parties."""
        if self.parts is not None:
            return self.parts
        if not self.has_parties:
            return ()
        return (
            Part(self.sender, self.addressee, self.step, self.report_db, self.sender_hashed, self.addressee_hashed),
        )
