"""Modes as operators name them and as ADIF files them: MODE with an optional SUBMODE.

Everything follows the standard's Mode and Submode tables: FT8 is a mode, while FT4, FST4 and Q65 are submodes of MFSK.
Files that put a submode into MODE, as older releases allowed for some, are mended by the same tables.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from watchkeeper.adif import tables
from watchkeeper.adif.text import quoted

#: FST4-60, Q65-30A: the period length, which operators say with the name, and a letter for the tone spacing
_PERIOD = re.compile(r"-[0-9]{1,4}[A-E]?$")
#: spellings met in files → the table's (common practice, no source)
_SPELLINGS = {"BPSK31": "PSK31", "BPSK63": "PSK63", "BPSK125": "PSK125"}


class Normalised(NamedTuple):
    """A MODE and SUBMODE that the standard lets out, and what had to be mended for it."""

    mode: str
    submode: str | None
    mended: bool
    #: what was mended, or what could not be and why; empty when all was well
    why: str


def to_adif(mode_on_air: str) -> tuple[str, str | None]:
    """The MODE and SUBMODE that file a mode: ``FT4`` → ``("MFSK", "FT4")``, ``FT8`` → ``("FT8", None)``.

    A name that the standard does not list comes back in capitals as MODE: a contact is never lost for its mode.
    """
    found = normalise(mode_on_air)
    return found.mode, found.submode


def on_air(mode: str, submode: str | None = None) -> str:
    """The name an operator uses for a MODE and SUBMODE: the more particular of the two."""
    found = normalise(mode, submode)
    return found.submode or found.mode


@lru_cache(maxsize=1024)
def normalise(mode: str | None, submode: str | None = None) -> Normalised:
    """Bring a MODE and SUBMODE as found in a file to what the standard's tables say.

    Letter case and blanks at the ends do not count as a mend. What the tables do not know stays as it is, in capitals.
    """
    given = (mode or "").strip().upper()
    part = (submode or "").strip().upper()
    mode_name, submode_name = _spelled(given), _spelled(part)
    if not part:
        return _from_mode(given, mode_name)
    if submode_name == mode_name and _is_mode(mode_name):
        return Normalised(mode_name, None, True, f"SUBMODE {quoted(part)} only repeats MODE")
    if submode_name in tables.submodes():
        return _from_submode(given, mode_name, part, submode_name)
    if _is_mode(submode_name):
        return Normalised(submode_name, None, True, f"{submode_name} is a mode, not a submode of {quoted(given)}")
    found = _from_mode(given, mode_name)
    why = f"SUBMODE {quoted(part)} is not in the standard's table"
    if found.submode is not None:  # MODE itself named a submode: the unknown text gives way to it
        return found._replace(why=f"{found.why}; {why} and is left out")
    return Normalised(found.mode, part, found.mended, f"{found.why}; {why}" if found.why else why)


def _from_mode(given: str, name: str) -> Normalised:
    """MODE alone: a mode of the table, a submode of the table, or unknown."""
    if _is_mode(name):
        why = "" if name == given else f"MODE {quoted(given)} is spelled {name}"
        return Normalised(name, None, name != given, why)
    if name in tables.submodes():
        submode, parent = tables.submodes()[name]
        return Normalised(parent, submode, True, f"{quoted(given)} is a submode of {parent}")
    why = f"MODE {quoted(given)} is not in the standard's table" if given else "MODE is missing"
    return Normalised(given, None, False, why)


def _from_submode(given: str, mode_name: str, part: str, submode_name: str) -> Normalised:
    """A known SUBMODE: its parent is MODE, unless MODE names another mode of the table."""
    submode, parent = tables.submodes()[submode_name]
    if mode_name == parent:
        exact = (given, part) == (parent, submode)
        why = "" if exact else f"{quoted(f'{given} {part}')} is spelled {parent} {submode}"
        return Normalised(parent, submode, not exact, why)
    if not given:
        return Normalised(parent, submode, True, f"MODE is missing: {submode} is a submode of {parent}")
    if _is_mode(mode_name):
        return Normalised(mode_name, part, False, f"SUBMODE {submode} belongs to {parent}, not to MODE {given}")
    return Normalised(parent, submode, True, f"MODE {quoted(given)}: {submode} is a submode of {parent}")


def _is_mode(name: str) -> bool:
    value = (tables.enumeration("Mode") or {}).get(name)
    return value is not None and not value.import_only


def _spelled(name: str) -> str:
    """The table's spelling of a name: as it is, without hyphens and blanks, or without its period length."""
    plain = name.replace("-", "").replace(" ", "")
    for spelling in (name, plain, _SPELLINGS.get(plain, plain), _PERIOD.sub("", name)):
        if _is_mode(spelling) or spelling in tables.submodes():
            return spelling
    return name
