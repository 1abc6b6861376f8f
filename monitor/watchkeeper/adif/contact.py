"""A contact of the log as an ADIF record, and the way back.

Everything that the standard has a field for goes there. What it has none for (the key, what was filled in, the dial
frequency apart from the offset, fractions of a second) goes to ``APP_WATCHKEEPER_…`` fields, so that a contact that was
written comes back equal, but for characters that ADI cannot hold. COMMENT is the operator's alone.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from watchkeeper.adif.modes import normalise, to_adif
from watchkeeper.adif.values import AdifValueError, adif_date, adif_time, freq_mhz, hz, parse_when
from watchkeeper.model import Contact
from watchkeeper.radio import band as radio_band
from watchkeeper.radio import callsign
from watchkeeper.schema.events import from_ms, to_ms

APP = "APP_WATCHKEEPER_"
#: a flag
OWN_CALL = "own call as the other station"

#: Contact field → ADIF field, where the text goes as it is
_TEXT = {
    "report_sent": "RST_SENT",
    "report_received": "RST_RCVD",
    "station_call": "STATION_CALLSIGN",
    "operator": "OPERATOR",
    "entity": "COUNTRY",
    "continent": "CONT",
    "state": "STATE",
    "name": "NAME",
    "propagation": "PROP_MODE",
    "contest_id": "CONTEST_ID",
    "exchange_sent": "STX_STRING",
    "exchange_received": "SRX_STRING",
    "comment": "COMMENT",
}
_WHOLE = {
    "entity_code": "DXCC",
    "cq_zone": "CQZ",
    "itu_zone": "ITUZ",
    "serial_sent": "STX",
    "serial_received": "SRX",
}
_NUMBER = {"power_w": "TX_PWR", "distance_km": "DISTANCE"}
_LOCATOR = {"locator": "GRIDSQUARE", "own_locator": "MY_GRIDSQUARE"}
_CAPITALS = frozenset({"station_call", "operator", "continent", "state", "propagation"})
#: programme → the standard's own field for its reference, and whether it holds a list
_AWARDS = {
    "POTA": ("POTA_REF", True),
    "SOTA": ("SOTA_REF", False),
    "WWFF": ("WWFF_REF", False),
    "IOTA": ("IOTA", False),
}
#: the fields that tell our own references
OWN_REFERENCE_FIELDS = (
    "MY_SIG",
    "MY_SIG_INFO",
    *(f"MY_{name}" for name, _ in _AWARDS.values()),
    f"{APP}MY_REFERENCES",
)
_RECEIVED = ("QSL_RCVD", "LOTW_QSL_RCVD", "EQSL_QSL_RCVD", "DCL_QSL_RCVD")
_WHEN = ("QSO_DATE", "TIME_ON", "QSO_DATE_OFF", "TIME_OFF")


class Taken(NamedTuple):
    """A contact read from a record, and what had to be mended for it, in words."""

    contact: Contact
    mends: tuple[str, ...]


def to_record(contact: Contact) -> dict[str, str]:
    """The ADIF fields of ``contact``, in the order in which people look for them."""
    mode, submode = to_adif(contact.mode)
    started, ended = from_ms(contact.started_ms), from_ms(contact.ended_ms)
    record = {
        "CALL": contact.call,
        "QSO_DATE": adif_date(started),
        "TIME_ON": adif_time(started),
        "QSO_DATE_OFF": adif_date(ended),
        "TIME_OFF": adif_time(ended),
        "BAND": contact.band or "",
        "FREQ": "" if not contact.frequency_hz else freq_mhz(contact.frequency_hz),
        "MODE": mode,
        "SUBMODE": submode or "",
    }
    for field, name in _TEXT.items():
        record[name] = getattr(contact, field) or ""
    for field, name in _WHOLE.items():
        value = getattr(contact, field)
        record[name] = "" if value is None else str(value)
    for field, name in _NUMBER.items():
        value = getattr(contact, field)
        record[name] = "" if value is None else _number(value)
    for field, name in _LOCATOR.items():
        locator = getattr(contact, field) or ""
        record[name], record[f"{name}_EXT"] = locator[:8], locator[8:]
    record |= _awards("MY_", contact.activations) | _awards("", contact.their_activations)
    record |= dict(_own_fields(contact, started, ended))
    for name, text in contact.extra.items():
        record[name] = record.get(name) or text
    return {name: text for name, text in record.items() if text}


def from_record(fields: Mapping[str, str], *, source: str = "import") -> Taken:
    """The contact that a record holds. Field names are in capitals, as the readers give them.

    A record that :func:`to_record` made gives the contact back with its key and source; any other gets ``source`` and
    a key that is a digest of the record. Raises ``AdifValueError`` where the other call, the start or the mode is
    missing or cannot be understood.
    """
    rest = {name: value for name, value in fields.items() if value}
    mends: list[str] = []
    values: dict[str, Any] = {"call": _call(rest), **_when(rest, mends), **_mode(rest, mends)}
    values |= _band(rest, mends)
    for field, name in _TEXT.items():
        value = rest.pop(f"{name}_INTL", None) or rest.get(name)
        rest.pop(name, None)
        values[field] = value.upper() if value and field in _CAPITALS else value
    for field, name in _WHOLE.items():
        values[field] = _taken(rest, name, int, mends)
    for field, name in _NUMBER.items():
        values[field] = _taken(rest, name, _finite, mends)
    for field, name in _LOCATOR.items():
        values[field] = (rest.pop(name, "") + rest.pop(f"{name}_EXT", "")).strip() or None
    values["activations"] = _references("MY_", rest)
    values["their_activations"] = _references("", rest)
    values["confirmed"] = any(rest.get(name, "").upper() in ("Y", "V") for name in _RECEIVED)
    try:
        values |= _own_values(rest, values)
    except ValueError as fault:  # edited by hand: what the standard's fields say is still good
        mends.append(f"{APP}… fields cannot be understood ({fault}): left out")
    if not values["station_call"]:  # ADIF, OPERATOR: it is the station's call too where that is missing
        values["station_call"] = values["operator"]
    foreign = "key" not in values  # what we wrote has been looked at already
    if foreign and values["station_call"] and _home(values["station_call"]) == _home(values["call"]):
        values["flags"] = (*values.get("flags", ()), OWN_CALL)
    values.setdefault("source", source)
    values.setdefault("source_id", digest(fields))
    values.setdefault("key", f"{values['station_call'] or ''}|{values['source']}|{values['source_id']}")
    return Taken(Contact(**values, extra=rest), tuple(mends))


def own_references(fields: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """The activations that a record was made from: programme and reference of each."""
    return _references("MY_", dict(fields))


def received_fields(fields: Mapping[str, str]) -> dict[str, str]:
    """Those of the standard's QSL fields that say what was received, and when."""
    names = [related for name in _RECEIVED for related in (name, name.replace("_RCVD", "RDATE"), f"{name}_VIA")]
    return {name: fields[name] for name in names if fields.get(name)}


def digest(fields: Mapping[str, str]) -> str:
    """What tells a record from every other, whatever the order and case of its fields: 32 hexadecimal digits."""
    canonical = sorted((name.upper(), value.strip()) for name, value in fields.items() if value.strip())
    return hashlib.blake2b(
        "\0".join(f"{name}\1{value}" for name, value in canonical).encode(), digest_size=16
    ).hexdigest()


def _number(value: float) -> str:
    """Plain decimal text: ADIF's Number knows no exponent."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return text or "0"


def _finite(text: str) -> float:
    value = float(text)
    if not 0 <= value < 1e9:
        raise ValueError(text)
    return value


def _home(call: str) -> str:
    parts = callsign.parse_cached(call)
    return call if parts is None else parts.base


def _call(rest: dict[str, str]) -> str:
    call = rest.pop("CALL", "").strip().upper()
    if not call:
        raise AdifValueError("CALL", "missing")
    if not call.isprintable():
        raise AdifValueError("CALL", "has control characters")
    return call


def _when(rest: dict[str, str], mends: list[str]) -> dict[str, int]:
    try:
        started, ended = parse_when(rest)
    except AdifValueError as fault:
        if fault.field in ("QSO_DATE", "TIME_ON"):
            raise
        started, ended = parse_when({name: rest.get(name, "") for name in ("QSO_DATE", "TIME_ON")})
        mends.append(f"{fault}: the end is left out")
    for name in _WHEN:
        rest.pop(name, None)
    started_ms = to_ms(started)
    return {"started_ms": started_ms, "ended_ms": started_ms if ended is None else to_ms(ended)}


def _mode(rest: dict[str, str], mends: list[str]) -> dict[str, str]:
    submode = rest.pop("SUBMODE", "")
    if not submode.strip().isprintable():
        mends.append("SUBMODE has control characters: left out")
        submode = ""
    found = normalise(rest.pop("MODE", None), submode or None)
    if not found.mode:
        raise AdifValueError("MODE", "missing")
    if not found.mode.isprintable():
        raise AdifValueError("MODE", "has control characters")
    if found.mended:
        mends.append(found.why)
    return {"mode": found.submode or found.mode}


def _band(rest: dict[str, str], mends: list[str]) -> dict[str, Any]:
    frequency_hz = None
    if "FREQ" in rest:
        try:
            frequency_hz = hz(rest["FREQ"])
            del rest["FREQ"]
        except AdifValueError as fault:
            mends.append(f"{fault}: kept as it came")
    said = rest.pop("BAND", "").strip().lower() or None
    if said is not None and not said.isprintable():
        mends.append("BAND has control characters: left out")
        said = None
    by_frequency = None if frequency_hz is None else radio_band.of(frequency_hz)
    if said is None and by_frequency is not None:
        mends.append(f"BAND is missing: {by_frequency} by the frequency")
    if said is not None and by_frequency is not None and said != by_frequency:
        flags = (f"band {said} and frequency {freq_mhz(frequency_hz or 0)} MHz disagree",)
        return {"band": said, "frequency_hz": frequency_hz, "flags": flags}
    return {"band": said or by_frequency, "frequency_hz": frequency_hz}


def _taken(rest: dict[str, str], name: str, kind: Any, mends: list[str]) -> Any:
    """A value that stands for a number; one that does not stays among the other fields as it came."""
    text = rest.get(name)
    if text is None:
        return None
    try:
        value = kind(text.strip())
    except ValueError:
        mends.append(f"{name} {text!r} is no number: kept as it came")
        return None
    del rest[name]
    return value


def _awards(mine: str, references: tuple[tuple[str, str], ...]) -> dict[str, str]:
    """SIG and SIG_INFO for the first reference, the award's own field, and the whole where that is less."""
    if not references:
        return {}
    record = {f"{mine}SIG": references[0][0], f"{mine}SIG_INFO": references[0][1]}
    for programme, reference in references:
        name, is_list = _AWARDS.get(programme.upper(), ("", False))
        if name and is_list and f"{mine}{name}" in record:
            record[f"{mine}{name}"] += f",{reference}"
        elif name:
            record.setdefault(f"{mine}{name}", reference)
    if _told(mine, record) != references:
        record[f"{APP}{mine}REFERENCES"] = json.dumps(references, separators=(",", ":"))
    return record


def _told(mine: str, record: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """The references that the standard's fields hold."""
    found: dict[tuple[str, str], None] = {}
    if f"{mine}SIG" in record and f"{mine}SIG_INFO" in record:
        found[record[f"{mine}SIG"], record[f"{mine}SIG_INFO"]] = None
    for programme, (name, is_list) in _AWARDS.items():
        text = record.get(f"{mine}{name}", "")
        for reference in text.split(",") if is_list else (text,):
            if reference.strip():
                found[programme, reference.strip()] = None
    return tuple(found)


def _references(mine: str, rest: dict[str, str]) -> tuple[tuple[str, str], ...]:
    found = _told(mine, rest)
    whole = rest.pop(f"{APP}{mine}REFERENCES", None)
    if f"{mine}SIG_INFO" in rest and f"{mine}SIG" in rest:
        del rest[f"{mine}SIG"], rest[f"{mine}SIG_INFO"]
    for name, _ in _AWARDS.values():
        rest.pop(f"{mine}{name}", None)
    try:
        return found if whole is None else tuple((programme, reference) for programme, reference in json.loads(whole))
    except (ValueError, TypeError):  # edited by hand
        return found


def _own_fields(contact: Contact, started: datetime, ended: datetime) -> Iterator[tuple[str, str]]:
    yield f"{APP}KEY", contact.key
    yield f"{APP}SOURCE", contact.source
    yield f"{APP}ID", contact.source_id
    yield f"{APP}REVISION", str(contact.revision or "")
    yield f"{APP}DIAL_HZ", "" if contact.dial_hz is None else str(contact.dial_hz)
    yield f"{APP}OFFSET_HZ", "" if contact.offset_hz is None else repr(contact.offset_hz)
    if started.microsecond:
        yield f"{APP}STARTED_MS", str(contact.started_ms)
    if ended.microsecond or ended < started:
        yield f"{APP}ENDED_MS", str(contact.ended_ms)
    yield f"{APP}FILLED", ",".join(contact.filled)
    yield f"{APP}FLAGS", "; ".join(contact.flags)
    if contact.confirmed and not any(contact.extra.get(name, "").upper() in ("Y", "V") for name in _RECEIVED):
        yield f"{APP}CONFIRMED", "Y"


def _own_values(rest: dict[str, str], values: dict[str, Any]) -> dict[str, Any]:
    """What :func:`_own_fields` wrote. A record of any other program has none of it."""
    own = {name.removeprefix(APP): rest.pop(name) for name in list(rest) if name.startswith(APP)}
    if "KEY" not in own:
        return {}
    found: dict[str, Any] = {
        "key": own["KEY"],
        "source": own.get("SOURCE", ""),
        "source_id": own.get("ID", ""),
        "revision": int(own.get("REVISION", 0)),
        "started_ms": int(own.get("STARTED_MS", values["started_ms"])),
        "ended_ms": int(own.get("ENDED_MS", values["ended_ms"])),
        "filled": tuple(filter(None, own.get("FILLED", "").split(","))),
        "flags": tuple(filter(None, own.get("FLAGS", "").split("; "))),
        "confirmed": values["confirmed"] or own.get("CONFIRMED") == "Y",
    }
    if "DIAL_HZ" in own:
        found["dial_hz"] = int(own["DIAL_HZ"])
    if "OFFSET_HZ" in own:
        found["offset_hz"] = float(own["OFFSET_HZ"])
    return found
