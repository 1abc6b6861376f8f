"""What a decoder makes of noise: messages that nobody sent, as chance makes them.

A phantom is a payload that passed the checksum by accident, so it is drawn as random bits and unpacked. Where the
decoder was given a call, that part is as given and chance makes only the rest; where it was given both calls, it tries
the closing words alone (common practice, no source). Call signs keep the prefix that chance made and get a suffix that
is never issued, so that none is anybody's.
"""

from __future__ import annotations

import re
from random import Random

from watchkeeper.radio.codec77 import PAYLOAD_BITS, InvalidPayloadError, unpack
from watchkeeper.radio.message import read
from watchkeeper.radio.reading import Reading
from watchkeeper.rehearsal.regions import SUFFIXES

_CALL = re.compile(r"\b([A-Z0-9]{1,2}[0-9])[A-Z]{1,3}\b(?![0-9])")
_CLOSING = ("RRR", "RR73", "73")


def out_of_noise(random: Random) -> str:
    """Return a message of random bits: any type, any call, hashes that nobody knows."""
    while True:
        try:
            text = unpack(random.getrandbits(PAYLOAD_BITS))
        except InvalidPayloadError:
            continue
        found = read(text)
        return _nobodys(text, random) if found.has_parties else text


def out_of_own_call(own_call: str, random: Random) -> str:
    """Return a message to ``own_call`` whose sender and rest are chance: the decoder was given the own call."""
    while True:
        text = out_of_noise(random)
        found = read(text)
        if _is_ordinary(found):
            return " ".join((own_call, *text.split()[1:]))


def out_of_both_calls(own_call: str, their_call: str, random: Random) -> str:
    """Return an end of the contact that nobody sent: the decoder was given both calls."""
    return f"{own_call} {their_call} {random.choice(_CLOSING)}"


def _is_ordinary(found: Reading) -> bool:
    return found.type == "standard" and found.sender is not None and not found.is_call_to_all


def _nobodys(text: str, random: Random) -> str:
    return _CALL.sub(lambda found: found[1] + random.choice(SUFFIXES), text)
