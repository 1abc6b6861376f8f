"""Text brought into shape: non-ASCII text spelled in ASCII, as ADI asks, and quotations for messages.

Letters lose their accents, foreign alphabets are spelled in Latin letters. The tables are common practice of
transliteration, without a source (Greek and Cyrillic after the usual English spelling); what no table knows becomes
``?``. Writers tell what was changed: see :class:`watchkeeper.adif.writer.Change`.
"""

from __future__ import annotations

import unicodedata

_QUOTE_LENGTH = 40

_LATIN = {
    "ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "đ": "d", "Đ": "D",
    "ð": "d", "Ð": "D", "þ": "th", "Þ": "TH", "ł": "l", "Ł": "L", "ħ": "h", "Ħ": "H", "ı": "i", "ĸ": "k",
    "ŋ": "ng", "Ŋ": "NG", "ŧ": "t", "Ŧ": "T", "ə": "e", "Ə": "E",
}  # fmt: skip
_SIGNS = {
    "‘": "'", "’": "'", "‚": "'", "ʼ": "'", "′": "'", "“": '"', "”": '"', "„": '"', "«": '"', "»": '"', "″": '"',
    "–": "-", "—": "-", "‐": "-", "‑": "-", "−": "-", "…": "...", "·": ".", "•": "*", "×": "x", "÷": "/",
    "°": "deg", "µ": "u", "€": "EUR", "£": "GBP", "¥": "JPY", "©": "(c)", "®": "(R)", "§": "par.",
    "¿": "?", "¡": "!", "±": "+/-", "→": "->", "←": "<-", "№": "No.", "⁄": "/",
    "\u00a0": " ", "\u2028": " ", "\u2029": " ",
}  # fmt: skip
_GREEK = {
    "α": "a", "β": "v", "γ": "g", "δ": "d", "ε": "e", "ζ": "z", "η": "i", "θ": "th", "ι": "i", "κ": "k", "λ": "l",
    "μ": "m", "ν": "n", "ξ": "x", "ο": "o", "π": "p", "ρ": "r", "σ": "s", "ς": "s", "τ": "t", "υ": "y", "φ": "f",
    "χ": "ch", "ψ": "ps", "ω": "o",
}  # fmt: skip
_CYRILLIC = {
    "а": "a", "б": "b", "в": "v", "г": "g", "д": "d", "е": "e", "ё": "e", "ж": "zh", "з": "z", "и": "i", "й": "y",
    "к": "k", "л": "l", "м": "m", "н": "n", "о": "o", "п": "p", "р": "r", "с": "s", "т": "t", "у": "u", "ф": "f",
    "х": "kh", "ц": "ts", "ч": "ch", "ш": "sh", "щ": "shch", "ъ": "", "ы": "y", "ь": "", "э": "e", "ю": "yu",
    "я": "ya", "і": "i", "ї": "yi", "є": "ye", "ґ": "g", "ђ": "dj", "ј": "j", "љ": "lj", "њ": "nj", "ћ": "c",
    "џ": "dz", "ў": "u", "ѓ": "g", "ќ": "k", "ѕ": "dz",
}  # fmt: skip
_LETTERS = _LATIN | _GREEK | _CYRILLIC
_TABLE = _SIGNS | {letter.upper(): spelled.capitalize() for letter, spelled in _LETTERS.items() if letter != "ß"}
_TABLE |= _LETTERS


def to_ascii(text: str) -> str:
    """The text in ASCII; characters without a spelling become ``?``. Control characters are left as they are."""
    return text if text.isascii() else "".join(map(_spelled, unicodedata.normalize("NFC", text)))


def _spelled(character: str) -> str:
    if character.isascii():
        return character
    if character in _TABLE:
        return _TABLE[character]
    if unicodedata.combining(character):
        return ""  # an accent that stands by itself
    parts = unicodedata.normalize("NFKD", character)
    if parts == character:
        return "?"
    return "".join(map(_spelled, parts))


def quoted(text: str) -> str:
    """A short quotation for messages, with everything that a terminal might act on escaped."""
    shown = text if len(text) <= _QUOTE_LENGTH else text[: _QUOTE_LENGTH - 1] + "…"
    return f"'{shown}'" if shown.isprintable() else ascii(shown)
