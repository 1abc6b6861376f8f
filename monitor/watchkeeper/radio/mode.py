"""Modes: their ADIF names, the timing of the timed ones, and where they are customarily found.

Names follow the Mode and Submode enumerations of the ADIF Specification 3.1.7. A mode is named as it is spoken of on
the air, which is the submode where there is one: ``FT4``, not ``MFSK``.
"""

from __future__ import annotations

from typing import Literal

from watchkeeper.radio import tables
from watchkeeper.radio.timed_modes import CALLING_HZ, TIMED, TimedMode

__all__ = ["Group", "TimedMode", "calling_hz", "from_adif", "group", "is_known", "timed", "to_adif"]

Group = Literal["CW", "PHONE", "DATA"]


def _load() -> tuple[dict[str, tuple[str, str | None]], dict[str, str]]:
    """Return air name → (mode, submode), and parent mode of each submode."""
    pairs: dict[str, tuple[str, str | None]] = {}
    parent: dict[str, str] = {}
    for row in tables.rows("adif-modes.csv"):
        if row["submode"]:
            parent[row["submode"]] = row["mode"]
        elif not row["import_only"]:
            pairs[row["mode"]] = (row["mode"], None)
    for submode, mode in parent.items():
        pairs[submode] = (mode, submode)
    return pairs, parent


_ADIF, _PARENT = _load()
_PHONE = frozenset({"AM", "DIGITALVOICE", "FM", "SSB"})


def _key(name: str) -> str:
    """Return the ADIF name for an air name: upper case, and without a period length (``Q65-30`` → ``Q65``)."""
    key = name.strip().upper()
    if key not in _ADIF and key in TIMED:
        known = TIMED[key]
        return known.adif_submode or known.adif_mode
    return key


def is_known(name: str) -> bool:
    """Say whether ``name`` is a mode or submode of ADIF, or one with its period length behind a hyphen."""
    return _key(name) in _ADIF


def to_adif(name: str) -> tuple[str, str | None]:
    """Return the ADIF (mode, submode) of a mode as named on the air, for export.

    Raises ValueError for a name that ADIF does not list.
    """
    found = _ADIF.get(_key(name))
    if found is None:
        raise ValueError(f"{name!r} is no mode or submode of ADIF 3.1.7")
    return found


def from_adif(mode: str, submode: str | None = None) -> str:
    """Return the mode as named on the air from the MODE and SUBMODE of a log record.

    Old misuse is mended: a submode in the MODE field is taken as such, and a submode that belongs to another mode
    outweighs the mode, because it says more. Unknown names are kept in upper case: nothing of a log is lost.
    """
    mode, submode = mode.strip().upper(), (submode or "").strip().upper()
    if submode in _PARENT:
        return submode
    return mode or submode


def group(name: str) -> Group:
    """Return the group in which contacts by ``name`` count for awards.

    Everything that is neither telegraphy nor telephony counts as data, pictures too (common practice, no source).
    """
    mode = _ADIF.get(_key(name), ("", None))[0]
    if mode == "CW":
        return "CW"
    return "PHONE" if mode in _PHONE else "DATA"


def timed(name: str) -> TimedMode | None:
    """Return the timing of a timed mode (``FT8``, ``FST4-60``), or None for any other.

    FST4, FST4W and Q65 come in several period lengths that their ADIF names do not tell: the bare name stands for
    60 s (FST4, Q65) and 120 s (FST4W), the usual choice on the short waves (common practice, no source).
    """
    return TIMED.get(name) or TIMED.get(name.strip().upper())


def calling_hz(mode: str, band: str, region: int) -> int | None:
    """Return the customary calling (dial) frequency in Hz of a timed mode, or None where there is none.

    ``region`` is the ITU region, 1 to 3; most customs hold in all three. Common practice, no source: band plans
    and licences decide.
    """
    if region not in (1, 2, 3):
        raise ValueError(f"ITU region {region!r} is not 1, 2 or 3")
    customs = CALLING_HZ.get(_key(mode), {}).get(band.strip().lower(), {})
    return customs.get(region)
