"""What the readers hand out: a record, the header of its file, and the problems met on the way."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

Severity = Literal["error", "warning"]


class Problem(NamedTuple):
    """Something that breaks the standard (error) or that one may regret (warning), with its place and mend."""

    #: record index from 1; 0 is the header
    record: int
    #: line of the file from 1, where the field stands
    line: int
    #: field name in capitals, or None when the problem is the record's as a whole
    field: str | None
    severity: Severity
    why: str


class Record(dict[str, str]):
    """One contact record: field name in capitals → its text.

    A record that the reader had to mend, or that the file's end cut off, says so in ``problems``.
    """

    __slots__ = ("__dict__", "end", "line", "number")

    #: set on the few records that have notes; the readers make records without ``__init__``, which would cost a tenth
    _notes: _Notes | None = None

    def __init__(self, fields: Mapping[str, str] | None = None, *, number: int = 0, line: int = 0) -> None:
        super().__init__(fields or {})
        #: record index in its file, from 1
        self.number = number
        #: line of the file where the record's first field stands, from 1
        self.line = line
        #: the byte offset just behind the record's end mark, from the start of the stream (ADI only, else 0)
        self.end = 0

    @property
    def notes(self) -> _Notes:
        """Where problems, types and places are kept; made when first asked for, as most records have none."""
        if self._notes is None:
            self._notes = _Notes()
        return self._notes

    @property
    def problems(self) -> list[Problem]:
        """What the reader met in this record."""
        return self.notes.problems

    @property
    def types(self) -> dict[str, str]:
        """Data type indicators of the fields outside the standard, as the file gave them: field name → letter."""
        return self.notes.types

    @property
    def complete(self) -> bool:
        """False when the file ended inside the record."""
        return self._notes is None or self._notes.complete

    @property
    def sound(self) -> bool:
        """True when the reader met no error in this record (warnings may stand)."""
        return self._notes is None or all(problem.severity != "error" for problem in self._notes.problems)

    def line_of(self, field: str) -> int:
        """The line where a field stands, or the record's first line when the reader did not keep places."""
        return self.line if self._notes is None else self._notes.places.get(field, self.line)


class _Notes:
    """The parts of a record that most records lack."""

    __slots__ = ("complete", "places", "problems", "types")

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self.types: dict[str, str] = {}
        self.places: dict[str, int] = {}
        self.complete = True


class UserField(NamedTuple):
    """A field that the file's header defines: ``USERDEFn`` with an optional type and enumeration or range."""

    number: int
    name: str
    #: data type indicator letter, or None
    type: str | None = None
    #: the text between the braces: ``QRPP,QRP,QRO`` (an enumeration) or ``-50:150`` (a range)
    limits: str | None = None


class Header:
    """The fields before the first record; ``fields`` is empty when the file has no header."""

    __slots__ = ("fields", "places", "problems", "user_fields")

    def __init__(self) -> None:
        self.fields: dict[str, str] = {}
        #: field name → line of the file
        self.places: dict[str, int] = {}
        self.user_fields: dict[str, UserField] = {}
        self.problems: list[Problem] = []

    @property
    def version(self) -> str | None:
        """The release of the standard that the file follows (``ADIF_VER``)."""
        return self.fields.get("ADIF_VER")

    @property
    def program_id(self) -> str | None:
        """The program that wrote the file."""
        return self.fields.get("PROGRAMID")

    @property
    def program_version(self) -> str | None:
        """The version of the program that wrote the file."""
        return self.fields.get("PROGRAMVERSION")

    def define(self, number: int, text: str, type_indicator: str | None) -> None:
        """Take one user-defined field as ADI spells it: ``NAME``, ``NAME,{A,B}`` or ``NAME,{low:high}``."""
        name, brace, limits = text.partition(",{")
        key = name.strip().upper()
        self.user_fields[key] = UserField(number, key, type_indicator, limits.removesuffix("}") if brace else None)
