"""Symptom → cause → remedy, for what events cannot see: the everyday troubles of a station for timed modes.

All of it is common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple


class Symptom(NamedTuple):
    """One trouble, its likely cause, and what to do."""

    symptom: str
    cause: str
    remedy: str


SYMPTOMS: tuple[Symptom, ...] = (
    Symptom("signals are heard by ear but nothing decodes", "the computer's clock is off by a second or more",
            "set the clock from a time server or a satellite receiver, then wait two periods"),
    Symptom("signals are heard by ear but nothing decodes", "the decoder listens to another sound device",
            "choose the radio's sound device in the decoder; look whether its level moves with the noise"),
    Symptom("only stations near one offset decode", "a narrow receive filter or band-pass tuning is on",
            "choose the widest data filter, about 3 kHz, and switch notch and tuning filters off"),
    Symptom("strong stations appear twice", "the receive audio or the receiver is overdriven",
            "lower the audio, switch the preamplifier off or the attenuator in"),
    Symptom("nothing is heard, not even noise", "antenna or cable is off, or the sound input is muted",
            "look at antenna switch and connectors, then at the sound device's mute and level"),
    Symptom("the radio does not send", "keying does not reach the radio",
            "look at interface, serial port and its speed, data and stop bits; only one program may hold the port"),
    Symptom("the radio sends but no power goes out", "the transmit audio goes to another device or is muted",
            "choose the radio's sound device for sending; data mode rather than voice; raise the audio from zero"),
    Symptom("the radio keys by itself or never lets go", "radio frequency gets into the computer or interface",
            "put ferrites on the cables, lower the power, move the antenna's feed away, mend the ground"),
    Symptom("nobody answers though many are heard", "nobody hears you: little power, a poor match or a bad time",
            "read forward power and SWR while sending, look at Reach, call on the other parity"),
    Symptom("nobody answers though many are heard", "you call on a spot that is taken where they listen",
            "move to an offset that has been free for some minutes and call again"),
    Symptom("reports are far lower than you give", "local noise of theirs, or power is lost in line or antenna",
            "compare with several stations; look at line, connectors and the SWR at the radio and at the antenna"),
    Symptom("the signal is wide or has copies beside it", "the transmit audio is too high",
            "lower it until the ALC hardly moves; switch speech processing off"),
    Symptom("the computer's sound drops out", "power saving of the computer or of its USB ports",
            "switch power saving off for the ports and let the computer not sleep"),
    Symptom("the frequency creeps during a transmission", "the radio warms up or the supply sags",
            "let it warm up, lower the power, look at the voltage under load"),
    Symptom("the radio turns off while sending", "the supply's voltage falls below the radio's lowest",
            "shorten and thicken the leads, charge the battery, lower the power"),
    Symptom("contacts are missing in another log", "forwarding is down or refused",
            "run `watchkeeper outbox` and read why; the contact itself is safe in the record"),
    Symptom("everything is an hour or more off", "the computer's time zone is wrong while its clock looks right",
            "set the time zone, and compare UTC"),
)  # fmt: skip


def matching(words: str) -> list[Symptom]:
    """The troubles that hold all of ``words`` anywhere, those with them in the symptom first; all without words."""
    wanted = words.lower().split()
    found = [one for one in SYMPTOMS if all(word in " ".join(one).lower() for word in wanted)]
    return sorted(found, key=lambda one: not all(word in one.symptom.lower() for word in wanted))
