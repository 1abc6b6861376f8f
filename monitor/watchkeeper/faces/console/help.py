"""The pages behind the ``?`` and the ``i`` key."""

from __future__ import annotations

from rich.text import Text

from ...view import Urgency
from ..invitation import Invitation
from ..words import URGENCY_SIGNS
from .cells import cropped, wrapped
from .theme import Theme
from .viewing import Viewing

_KEYS = (
    ("?", "this help, and back"),
    ("b", "next band: shows the rows of one band, then of the next, then all"),
    ("↑ ↓", "choose another open hail (also k and j)"),
    ("d", "mark the hail shown as done: the matter stays quiet for a day"),
    ("r", "release the hold-off of the hail shown: the matter may hail again at once"),
    ("l", "log the exchange that looks complete and that no source has announced"),
    ("p", "pause: only urgent hails for ten minutes"),
    ("i", "show address and code that bring a phone to the live page, and back"),
    ("q", "quit (the watch of `attach` goes on without this view)"),
)
_ACTING = frozenset({"d", "l", "r", "p"})
_SIGNS = (
    (Urgency.URGENT, "urgent: wants your eye in this period"),
    (Urgency.WANTED, "wanted: a lookout matches, or something needs a hand"),
    (Urgency.NOTE, "worth knowing"),
)
_WORDS = (
    "The bar counts the period down; even and odd are its parity. A station that sends in even periods is called in "
    "odd ones. “Start now” means that a call started within the next second still works.",
    "Chance is the estimate that the station copies you with the power that your source names.",
)


def invitation_lines(invitation: Invitation, width: int, height: int) -> list[Text]:
    """Address, code and QR code; without the QR code where it does not fit."""
    lines = [Text(line) for words in invitation.words for line in wrapped(words, width)]
    if len(lines) + 1 + len(invitation.qr) <= height:
        lines += [Text(), *(Text.assemble("   ", (row, "#000000 on #FFFFFF")) for row in invitation.qr)]
    else:
        lines.append(Text("A larger window shows a QR code here."))
    return [cropped(line, width) for line in lines[:height]]


def help_lines(width: int, height: int, theme: Theme, viewing: Viewing) -> list[Text]:
    """Keys, signs and words, at most ``height`` lines."""
    lines = [Text("KEYS", style=theme.heading)]
    for key, words in _KEYS:
        if (viewing.read_only and key in _ACTING) or (key == "i" and not viewing.can_invite):
            continue
        lines.append(Text.assemble("   ", (f"{key:<5}", theme.strong), words))
    lines.append(Text("SIGNS", style=theme.heading))
    for urgency, words in _SIGNS:
        lines.append(Text.assemble("   ", (f"{URGENCY_SIGNS[urgency]:<2}", theme.urgency[urgency]), "   ", words))
    lines.append(Text("WORDS", style=theme.heading))
    lines += [Text(f"   {line}") for words in _WORDS for line in wrapped(words, width - 3)]
    return [cropped(line, width) for line in lines[:height]]
