"""The usual outline of a file's records, learned while it is read, and the few fields of each that somebody wants.

One program wrote most of a file, so nearly all of its records have the same fields, spelled alike and in one order,
each there or not, with data of the usual lengths. One regular expression takes such a record apart in a fraction of
the time that a dictionary of all its fields costs. What does not fit the outline is read in full.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import NamedTuple

_BLANKS = r"[ \t\r\n]*+"
_TAG = re.compile(r"([A-Za-z0-9_]{1,64}):([0-9]{1,3})((?::[A-Za-z])?)")
_NEVER = r"([^\s\S])?+"
#: records that did not fit before the outline is made, and then made anew: each time twice as many
_PATIENCE = 128
#: records that do not fit in spite of all learning, beside those that did, before it is given up
_HOPELESS = 4096
#: longer data hardly has a usual length
_LONGEST = 128


class Picked(NamedTuple):
    """A field that is picked from every record."""

    #: in capitals
    name: str
    #: what each character of its data must be, as a class of a regular expression; ASCII without ``<``
    data: str
    #: whether records without it, or where it is empty, are read in full
    needed: bool


class Outline:
    """The outline of the records seen so far. What it takes a record for never depends on what it has seen."""

    def __init__(self, picked: Sequence[Picked], patience: int = _PATIENCE) -> None:
        self._wanted = {field.name: field for field in picked}
        self._patience = patience
        self._fresh = self._missed = 0
        #: records that fitted
        self.fitted = 0
        #: the fields as they are spelled, in the order of the file, each with its lengths as they are spelled
        self._tags: dict[str, dict[str, int]] = {}
        self._mark = ""
        #: the numbers of the groups that hold the picked fields, in their order
        self.groups: tuple[int, ...] = ()
        #: finds a record that begins at a place of a text, blanks before it included
        self.match: Callable[[str, int], re.Match[str] | None] = lambda _text, _place: None

    @property
    def hopeless(self) -> bool:
        """Whether so few records fit that the outline costs more than it saves."""
        return self._missed > _HOPELESS + 2 * self.fitted

    def learn(self, text: str) -> None:
        """Learn from a record that is sound but did not fit: its text, with the end mark."""
        self._missed += 1
        pieces = text.split("<")
        fields = [tag for piece in pieces[1:-1] if (tag := self._tag_of(piece))]
        names = [name for name, _, _ in fields]
        order = _merged(list(self._tags), names)
        mark = "<" + pieces[-1]
        if len(fields) != len(pieces) - 2 or order is None or self._mark not in ("", mark):
            return
        self._mark = mark
        self._tags = {name: self._tags.get(name, {}) for name in order}
        for name, spelled, length in fields:
            self._tags[name][spelled] = length
        self._fresh += 1
        if self._fresh >= self._patience:
            self._make()
            self._fresh, self._patience = 0, 2 * self._patience

    def _tag_of(self, piece: str) -> tuple[str, str, int] | None:
        """Name, length with what follows it as spelled, and length; None for a field that the outline cannot have."""
        spelled, _, data = piece.partition(">")
        tag = _TAG.fullmatch(spelled)
        if tag is None:
            return None
        name, length = tag.group(1), int(tag.group(2))
        picked = self._wanted.get(name.upper())
        if length > _LONGEST:
            return None
        if picked and not re.fullmatch(rf"{picked.data}{{{length}}}", data[:length]):
            return None
        if picked and picked.needed and not length:
            return None
        return name, tag.group(2) + tag.group(3), length

    def _make(self) -> None:
        """Make the expression: each field there or not, its data by one of its lengths, blanks behind it."""
        parts = [_BLANKS, f"(?!{re.escape(self._mark)})"]  # a mark alone ends no record
        numbers: dict[str, int] = {}
        for name, lengths in self._tags.items():
            picked = self._wanted.get(name.upper())
            data = picked.data if picked else "[^<]"
            choices = "|".join(f"{re.escape(spelled)}>{data}{{{length}}}" for spelled, length in lengths.items())
            if picked:
                numbers[picked.name] = len(numbers) + 1
            field = f"<{name}:({'' if picked else '?:'}{choices}){_BLANKS}"
            parts.append(field if picked and picked.needed else f"(?:{field})?+")
        parts.append(re.escape(self._mark))
        for absent in [name for name in self._wanted if name not in numbers]:
            parts.append(_NEVER)
            numbers[absent] = len(numbers) + 1
        self.groups = tuple(numbers[name] for name in self._wanted)
        self.match = re.compile("".join(parts)).match


def _merged(order: list[str], names: list[str]) -> list[str] | None:
    """``order`` with ``names`` brought in where they stand; None where they come in another order or twice."""
    known = {name.upper(): name for name in order}
    place = 0
    for name in names:
        if known.setdefault(name.upper(), name) != name:
            return None
        if name in order:
            if order.index(name) < place:
                return None
            place = order.index(name) + 1
        else:
            order.insert(place, name)
            place += 1
    return order
