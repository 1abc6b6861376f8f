"""The one sanitiser: what came off the air or the wire leaves here as harmless, single-line, visible text.

A station, a feeding program, a plugin or another computer may put anything into a text. Terminals obey control
characters and escape sequences, bidirectional controls reorder what the reader sees, and characters without width or
shape hide things. All of them go. Markup is no matter of characters: faces hand cleaned text to ``rich.text.Text``
and to the page's text nodes, never to something that reads markup.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Any

#: long enough for every sentence a view holds, short enough that one text cannot fill a screen
DEFAULT_LIMIT = 400
#: more combining marks than this on one letter paint over the neighbouring lines
MAX_MARKS = 3

# ECMA-48 control strings and sequences, in their 7-bit and 8-bit forms; a broken one still loses its ESC below
_SEQUENCE = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]"  # CSI … final
    r"|(?:\x1b[PX\]^_]|[\x90\x98\x9d-\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c)"  # DCS, SOS, OSC, PM, APC … end
    r"|\x1b[ -/]*[0-~]"  # two-character and three-character escapes
)
_SPACE = re.compile(r" {2,}")
_PLAIN = re.compile(r"[ -~]*")  # printable ASCII, the usual case
_GONE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
_BLANK = frozenset({"Zs", "Zl", "Zp"})
_MARKS = frozenset({"Mn", "Mc", "Me"})
#: letters, symbols and marks by category, yet drawn as nothing; variation selectors change the width of others
_INVISIBLE = frozenset(
    "\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u2800\u3164\uffa0\ufffc"
    + "".join(map(chr, [*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)]))
)
# a space rather than nothing, so that words on two lines do not run together
_BREAKS = frozenset("\t\n\v\f\r\x1c\x1d\x1e\x1f\x85")

_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:[ \u00a0]?(?:dB|Hz|km|W|V|s))?")
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def clean(text: str, limit: int = DEFAULT_LIMIT) -> str:
    """``text`` as one line of visible characters, at most ``limit`` of them (the last then being an ellipsis).

    Removes control characters (C0, C1), escape sequences, bidirectional and other format characters, characters of
    no width, private-use and unassigned code points and lone surrogates; line breaks become spaces, runs of spaces
    one. ``clean(clean(x)) == clean(x)``.
    """
    if not _PLAIN.fullmatch(text):
        text = "".join(_visible(_SEQUENCE.sub("", text)))
    text = _SPACE.sub(" ", text).strip(" ")
    if len(text) <= limit:
        return text
    return text[: max(limit - 1, 0)] + "…" if limit > 0 else ""


def _visible(text: str) -> list[str]:
    kept: list[str] = []
    marks = 0
    for character in text:
        category = unicodedata.category(character)
        if category in _BLANK or character in _BREAKS:
            kept.append(" ")
        elif category in _GONE or character in _INVISIBLE:
            continue
        elif category in _MARKS:
            # a mark on a space would join what stands before the text
            marks += 1
            if kept and kept[-1] != " " and marks <= MAX_MARKS:
                kept.append(character)
            continue
        else:
            kept.append(character)
        marks = 0
    return kept


def formula_safe(text: str) -> str:
    """``text`` cleaned for a cell of a spreadsheet: what a spreadsheet would run as a formula is quoted.

    Numbers with a sign, such as reports, stay as they are.
    """
    text = clean(text)
    if text.startswith(_FORMULA_STARTS) and not _NUMBER.fullmatch(text):
        return "'" + text
    return text


#: what serves as an identifier, is never shown, and has to come back unchanged
IDENTIFIERS = frozenset({"key", "hail", "run", "form"})


def scrub(plain: Any, *, under: str = "") -> Any:
    """A copy of a plain JSON value with every text cleaned, but for identifiers (see ``IDENTIFIERS``)."""
    if isinstance(plain, str):
        return plain if under in IDENTIFIERS else clean(plain)
    if isinstance(plain, dict):
        return {clean(key): scrub(value, under=key) for key, value in plain.items()}
    if isinstance(plain, list | tuple):
        return [scrub(value, under=under) for value in plain]
    return plain
