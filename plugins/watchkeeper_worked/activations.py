"""Activations: how many contacts count for each reference, by rules that are data."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from collections.abc import Callable, Iterable
from importlib.resources import files
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from watchkeeper.api import Activated, Contact, WorkedIndex
from watchkeeper.radio import mode as radio_mode

_DAY_MS = 86_400_000
#: programme and reference, as the own station tells them
Reference = tuple[str, str]
_Key = tuple[str | None, ...]


class ActivationRule(msgspec.Struct, frozen=True, kw_only=True):
    """What a programme asks of an activation."""

    programme: Annotated[str, Meta(min_length=1, max_length=32, description="the programme's short name")]
    minimum: Annotated[int, Meta(ge=1, le=100_000, description="contacts that make the activation count")]
    per: Annotated[
        Literal["day", "cumulative"],
        Meta(description="whether they are counted from 00:00 UTC on, or over the whole log"),
    ] = "day"
    unique: Annotated[
        tuple[Literal["call", "band", "mode"], ...],
        Meta(description="what makes a contact another one; mode: CW, voice or data"),
    ] = ("call", "band", "mode")


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """How far one activation is."""

    reference: Reference
    made: int
    rule: ActivationRule | None

    @property
    def missing(self) -> int:
        """Contacts still to make; 0 where nothing is known of the programme."""
        return 0 if self.rule is None else max(0, self.rule.minimum - self.made)

    def words(self) -> str:
        """``7 of 10 today, 3 to go``."""
        if self.rule is None:
            return f"{self.made} in all; no rule for {self.reference[0]}"
        when = "today" if self.rule.per == "day" else "in all"
        end = f"{self.missing} to go" if self.missing else "complete"
        return f"{self.made} of {self.rule.minimum} {when}, {end}"


def bundled() -> tuple[ActivationRule, ...]:
    """The rules that come with the plugin."""
    text = (files(__package__) / "programmes.toml").read_text(encoding="utf-8")
    return msgspec.convert(tomllib.loads(text)["activation"], tuple[ActivationRule, ...])


class Tally:
    """Counts contacts for references: those of the log, and those of the session, each in its last version.

    A contact counts for each reference that it was made from, at the day and time when it began.
    """

    def __init__(self, own_rules: Iterable[ActivationRule], worked: Callable[[], WorkedIndex]) -> None:
        """``own_rules`` outweigh the bundled ones; ``worked`` gives the log as it stood before the session."""
        self._rules = {rule.programme.upper(): rule for rule in (*bundled(), *own_rules)}
        self._worked = worked
        self._index: WorkedIndex | None = None
        #: those of the session, by key
        self.contacts: dict[str, Contact] = {}
        #: reference → span → what makes contacts others; worked out when first asked for
        self._made: dict[Reference, dict[int, set[_Key]]] = {}

    def logged(self, contact: Contact) -> None:
        """Count a contact of the session. A correction takes the place of what it corrects."""
        corrects = contact.key in self.contacts or contact.revision > 0
        self.contacts[contact.key] = contact
        if corrects:
            self._made.clear()
        for reference, spans in self._made.items():
            if _is_from(contact, reference):
                span, key = self._place(reference, contact.call, contact.band, contact.mode, contact.started_ms)
                spans[span].add(key)

    def rule(self, reference: Reference) -> ActivationRule | None:
        """The rule of the reference's programme."""
        return self._rules.get(reference[0].upper())

    def progress(self, reference: Reference, now_ms: int) -> Progress:
        """How far the activation is at ``now_ms``."""
        rule = self.rule(reference)
        made = len(self._spans(reference).get(_day(rule, now_ms), ()))
        return Progress(reference=reference, made=made, rule=rule)

    def counts(self, reference: Reference, call: str, band: str | None, mode: str, now_ms: int) -> bool:
        """Whether a contact with ``call`` would count for the reference."""
        span, key = self._place(reference, call, band, mode, now_ms)
        return key not in self._spans(reference).get(span, ())

    def references(self) -> Iterable[Reference]:
        """All that contacts of the session were made from, in the order of their first."""
        return dict.fromkeys(reference for contact in self.contacts.values() for reference in contact.activations)

    def _spans(self, reference: Reference) -> dict[int, set[_Key]]:
        index = self._worked()
        if index is not self._index:
            self._index = index
            self._made.clear()
        found = self._made.get(reference)
        if found is None:
            found = self._made[reference] = self._counted(reference, index)
        return found

    def _counted(self, reference: Reference, index: WorkedIndex) -> dict[int, set[_Key]]:
        made = {one.key: one for one in index.activated(*reference)}
        for contact in self.contacts.values():
            made.pop(contact.key, None)
            if _is_from(contact, reference):
                made[contact.key] = Activated(contact.key, contact.call, contact.band, contact.mode, contact.started_ms)
        spans: dict[int, set[_Key]] = defaultdict(set)
        for one in made.values():
            span, key = self._place(reference, one.call, one.band, one.mode, one.started_ms)
            spans[span].add(key)
        return spans

    def _place(self, reference: Reference, call: str, band: str | None, mode: str, at_ms: int) -> tuple[int, _Key]:
        """The span that a contact falls into, and what makes it another one there."""
        rule = self.rule(reference)
        unique = ("call",) if rule is None else rule.unique
        parts = {"call": call, "band": band, "mode": str(radio_mode.group(mode))}
        return _day(rule, at_ms), tuple(parts[each] for each in unique)


def _is_from(contact: Contact, reference: Reference) -> bool:
    wanted = (reference[0].upper(), reference[1].upper())
    return any((programme.upper(), name.upper()) == wanted for programme, name in contact.activations)


def _day(rule: ActivationRule | None, at_ms: int) -> int:
    return at_ms // _DAY_MS if rule is not None and rule.per == "day" else 0
