"""What every field means, in one place: the JSON Schema, the AsyncAPI document and the page all quote it.

A name means the same in every kind, but for the few that ``OF_KIND`` sets apart.
"""

from __future__ import annotations

MEANINGS: dict[str, str] = {
    # the envelope
    "v": "schema version",
    "kind": "what the event says",
    "source": "which feeding program",
    "receiver": "which of its receivers, where it has several",
    "at": "when it happened, RFC 3339 in UTC to the millisecond",
    "run": "this start of the sender, a random text: a new one is no gap in the numbers",
    "seq": "number of the event within the run, one more with every event: gaps are counted as lost",
    "id": "names the event in its receipt",
    "ack": "asks for a receipt to the sender's address",
    "live": "false: decoded again from a recording; stored, never hailed",
    # where and how
    "mode": "mode or submode as ADIF names it",
    "dial_hz": "radio frequency at audio offset 0, transverter included",
    "offset_hz": "audio frequency above the dial frequency",
    "text": "the message alone, without marks, times or levels",
    "power_w": "transmitter power",
    "locator": "Maidenhead locator",
    "operator": "call sign of whoever operates, where it is another than the station's",
    "activations": "the references that are activated",
    "call": "call sign",
    "snr_db": "signal-to-noise ratio in 2,500 Hz, as the decoder reports it",
    # station
    "antenna": "the antenna in use, in the operator's words",
    # tuning
    "sideband": "USB, LSB, FM …",
    "filter_low_hz": "lower edge of the radio's filter, audio",
    "filter_high_hz": "upper edge of the radio's filter, audio",
    "search_low_hz": "lower edge of what the decoder searches, audio",
    "search_high_hz": "upper edge of what the decoder searches, audio",
    "send_dial_hz": "dial frequency for sending, where it is another one (split)",
    "send_offset_hz": "audio frequency at which the station sends",
    "send_parity": "parity of the periods in which it sends: floor(UTC seconds / period length) mod 2",
    "calling": "the station that is being called or worked",
    # heard
    "late_s": "start of the signal against the nominal start, later is positive",
    "pass": "which pass over the period this is, counted from 1",
    "decoded_at": "when it was decoded",
    "aided": "the decoder used knowledge of what the message might be",
    "aided_by": "what it knew: own_call, their_call, general_call",
    "low_confidence": "the decoder itself has doubts",
    # period
    "count": "hearings sent so far for this period",
    "final": "nothing more will come for this period",
    "listened_s": "how long of the period was received; less after tuning or sending",
    "audio_dbfs": "level of the received audio, RMS",
    "noise_dbfs_hz": "level of the noise floor",
    "occupied": "pairs of audio frequencies between which there is energy, decoded or not",
    # sent
    "started_at": "when it began",
    "aborted": "it was broken off",
    # contact
    "ended_at": "when it ended",
    "report_sent": "report that was sent, as text: -12, 599",
    "report_received": "report that was received, as text",
    "station_call": "own call sign as it was used on the air",
    "own_locator": "own locator",
    "contest_id": "contest, as ADIF names it",
    "exchange_sent": "contest exchange that was sent",
    "exchange_received": "contest exchange that was received",
    "serial_sent": "serial number that was sent",
    "serial_received": "serial number that was received",
    "comment": "the operator's own words",
    "revision": "a higher one corrects the contact of the same id",
    # activation
    "programme": "the activity, as ADIF's MY_SIG names it",
    "reference": "its reference, as ADIF's MY_SIG_INFO has it",
    # reception
    "by_call": "call sign of whoever heard it",
    "by_locator": "locator of whoever heard it",
    # gauge
    "forward_w": "forward power at the transmitter's output",
    "power_set_w": "power that is asked for",
    "swr": "standing wave ratio",
    "alc_fraction": "how far the level control takes drive back; 0: not at all",
    "sending": "whether the transmitter is keyed",
    "supply_v": "supply voltage at the radio",
    "supply_a": "supply current; negative while charging",
    "heatsink_c": "temperature of the final stage's heat sink",
    "clock_error_s": "the computer's clock against UTC, fast is positive",
    "clock_synchronised": "whether the operating system calls its clock synchronised",
    "host_battery_fraction": "charge of the computer's battery",
    # receipt
    "of": "the id of the event",
    "status": "stored, repeated (it was there already) or refused (repeating is of no use)",
    "why": "the reason, where it was refused",
}

OF_KIND: dict[tuple[str, str], str] = {
    ("station", "call"): "own call sign",
    ("station", "locator"): "own Maidenhead locator, as exact as you like",
    ("heard", "at"): "the period's nominal start, RFC 3339 in UTC; for a mode without periods, when it was heard",
    ("period", "at"): "the period's nominal start, RFC 3339 in UTC",
    ("contact", "id"): "unique for ever within the source, the same on every repeat and across restarts",
    ("contact", "call"): "call sign of the other station",
    ("contact", "locator"): "the other station's Maidenhead locator",
    ("contact", "started_at"): "when the contact began",
    ("reception", "at"): "when it was heard, which may be minutes ago",
    ("reception", "call"): "who was heard; own call when left out",
    ("reception", "snr_db"): "signal-to-noise ratio there",
    ("reception", "dial_hz"): "the frequency at which it was heard, less offset_hz where that is given",
    ("gauge", "sending"): "whether the transmitter is keyed: readings with and without must not be mixed",
    ("receipt", "source"): "the source of the event",
}

_UNITS = {
    "noise_dbfs_hz": "dB below full scale, in 1 Hz",
    "audio_dbfs": "dB below full scale, negative",
    "occupied": "Hz",
    "swr": "ratio to 1",
    "send_parity": "0 or 1",
}
_UNITS_BY_ENDING = {
    "hz": "Hz",
    "db": "dB",
    "w": "W",
    "s": "s",
    "v": "V",
    "a": "A",
    "c": "°C",
    "fraction": "1 is full",
}

#: what an adapter supplies, beyond the required fields: the sentence the page gives with each kind
ADVICE: dict[str, str] = {
    "station": (
        "Send it at your start and whenever something changes. Without it the watch takes call and locator from its "
        "own configuration."
    ),
    "tuning": (
        "Send it at your start and at every change of frequency, mode, filter or transmit offset. The edges of filter "
        "and search tell a narrow passband from a dead band; parity and offset tell who can hear you."
    ),
    "heard": (
        "Send it the moment it is decoded; do not wait for the others of the period. Give late_s if you have it: the "
        "watch reads clock errors from it. Tell aided and low_confidence truly: the watch hails on such hearings only "
        "when something else bears them out. For a text decoded again by a later pass, send it again."
    ),
    "period": (
        "Send it after every pass with the count of hearings so far, and with final after the last. Send it for empty "
        "periods too: an empty period that was listened to and one that was not are different things."
    ),
    "sent": (
        "Send it when the transmission starts, and again with aborted if it is broken off. The watch reads from it "
        "what an exchange still lacks, and that nothing of this parity was heard."
    ),
    "contact": (
        "Send it with ack, and repeat it until the receipt comes: datagrams get lost, the log must not. Give what you "
        "know; the watch fills in from what it heard, and marks what it filled."
    ),
    "reception": (
        "Send what a reporting network or a second receiver says about your own signal, whenever you learn it."
    ),
    "gauge": (
        "Send whichever readings you have, once a second while sending and every ten seconds otherwise. Give sending "
        "with forward_w, swr and alc_fraction."
    ),
    "farewell": "Send it when you stop: the watch then says so instead of waiting for you.",
}


def meaning(kind: str, field: str) -> str:
    """What ``field`` means in ``kind``. Raises KeyError for a field that nobody has explained."""
    return OF_KIND.get((kind, field)) or MEANINGS[field]


def unit(field: str) -> str:
    """The unit in which ``field`` is given, or an empty text."""
    if field in _UNITS:
        return _UNITS[field]
    stem, _, ending = field.rpartition("_")
    return _UNITS_BY_ENDING.get(ending, "") if stem else ""
