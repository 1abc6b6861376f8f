"""The plugin: notes from the worked index, and the session's log as a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from watchkeeper.api import (
    Contact,
    Context,
    Dimension,
    Hail,
    Hearing,
    Need,
    Urgency,
    WorkedIndex,
    facts,
    from_ms,
    hookimpl,
)
from watchkeeper.radio.band import words as band_words
from watchkeeper.view import Column, Gauges, Panel, Reading, Row, Table, View, minus

from .activations import ActivationRule, Progress, Reference, Tally
from .notes import WorkedNote
from .words import need_words

_DAY_MS = 86_400_000
#: stations whose standing is remembered between two contacts
_CACHED = 20_000
#: by what rule a contact is a duplicate, in words
_SINCE = {"ever": "already", "session": "in this session", "day": "today", "activation": "in this activation"}
#: contacts that the table shows
_SHOWN = 100


class WorkedConfig(msgspec.Struct, frozen=True, kw_only=True):
    """What counts as new, and what as a duplicate."""

    dimensions: Annotated[
        tuple[Dimension, ...],
        Meta(description="what counts: entity, cq_zone, itu_zone, continent, locator, state, prefix, base, call"),
    ] = (Dimension.ENTITY, Dimension.CQ_ZONE, Dimension.CONTINENT, Dimension.STATE, Dimension.BASE)
    by_band: Annotated[bool, Meta(description="whether each counts on every band anew")] = True
    by_mode: Annotated[bool, Meta(description="whether each counts in every mode anew")] = False
    data_modes_as_one: Annotated[bool, Meta(description="whether timed data modes count as one mode")] = True
    unconfirmed: Annotated[bool, Meta(description="whether what is worked but not confirmed is a weaker need")] = False
    duplicate: Annotated[
        Literal["ever", "session", "day", "activation"],
        Meta(
            description="a second contact on a band in a mode counts never again, or again each session or UTC day, or "
            "by the rules of the references that are activated"
        ),
    ] = "ever"
    activation: Annotated[
        tuple[ActivationRule, ...],
        Meta(max_length=32, description="rules of activation, by programme; they outweigh the bundled examples"),
    ] = ()


class Worked:
    """Says how each station heard stands in the log."""

    name = "worked"
    api = 1
    Config = WorkedConfig
    provides = (WorkedNote,)

    def __init__(self, config: WorkedConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._standing: dict[tuple[str, str | None, str | None, str], WorkedNote] = {}
        self._index: WorkedIndex | None = None
        self._day = -1
        self._announced = -1
        self._tally = Tally(config.activation, lambda: context.worked)
        self._active: tuple[Reference, ...] = ()
        self._views: tuple[View, ...] | None = None
        #: the UTC day, the references and the log that the views were made for
        self._shows: tuple[int, tuple[Reference, ...], WorkedIndex | None] = (-1, (), None)

    # -- notes --------------------------------------------------------------------------------------------------------

    @hookimpl
    def annotate(self, hearing: Hearing) -> WorkedNote | None:
        """The station's standing, from memory where it was asked for before."""
        call = hearing.call
        if call is None:
            return None
        index = self._context.worked
        if (
            index is not self._index
            or self._context.now_ms // _DAY_MS != self._day
            or self._context.own.activations != self._active
            or len(self._standing) > _CACHED
        ):
            self._forget(index)
        key = (call, hearing.locator, hearing.band, hearing.mode)
        found = self._standing.get(key)
        if found is None:
            found = self._standing[key] = self._judge(index, call, hearing)
        return found

    def _forget(self, index: WorkedIndex | None) -> None:
        self._standing.clear()
        self._index = index
        self._active = self._context.own.activations
        self._day = self._context.now_ms // _DAY_MS

    def _judge(self, index: WorkedIndex, call: str, hearing: Hearing) -> WorkedNote:
        config = self._config
        what = facts(call, hearing.locator, placed=hearing.placed)
        needs = index.needs(
            what,
            hearing.band if config.by_band else None,
            hearing.mode if config.by_mode else None,
            config.dimensions,
            unconfirmed=config.unconfirmed,
            as_one=config.data_modes_as_one,
        )
        base = what.get(Dimension.BASE) or call
        duplicate = self._is_duplicate(index, call, base, hearing)
        return WorkedNote(
            needs=needs,
            duplicate=duplicate,
            why=self._why(needs, duplicate, hearing),
            counts_for=self._counts_for(call, hearing),
        )

    def _counts_for(self, call: str, hearing: Hearing) -> tuple[str, ...]:
        now_ms = self._context.now_ms
        return tuple(
            reference[1]
            for reference in self._context.own.activations
            if self._progress(reference).missing
            and self._tally.counts(reference, call, hearing.band, hearing.mode, now_ms)
        )

    def _is_duplicate(self, index: WorkedIndex, call: str, base: str, hearing: Hearing) -> bool:
        band, mode = hearing.band, hearing.mode
        active = self._context.own.activations
        if self._config.duplicate == "activation" and active:
            now_ms = self._context.now_ms
            return not any(self._tally.counts(reference, call, band, mode, now_ms) for reference in active)
        if self._config.duplicate == "session":
            return index.worked_this_session(base, band, mode)
        if self._config.duplicate == "day":
            return index.worked_today(base, band, mode, self._context.now_ms)
        return index.is_worked(Dimension.BASE, base, band, mode, as_one=self._config.data_modes_as_one)

    def _why(self, needs: Sequence[Need], duplicate: bool, hearing: Hearing) -> str:
        if duplicate:
            since = _SINCE[self._config.duplicate]
            return f"worked {since} on {band_words(hearing.band)} in {hearing.mode}"
        return need_words(needs[0], hearing.band, hearing.mode) if needs else "nothing new"

    @hookimpl
    def period_closed(self) -> None:
        """Announce a new UTC day to those for whom everybody counts again."""
        day = self._context.now_ms // _DAY_MS
        daily = [each for each in self._context.own.activations if self._is_daily(each)]
        if (self._config.duplicate == "day" or daily) and 0 <= self._announced < day:
            begins = f"; {', '.join(name for _, name in daily)} begins at 0" if daily else ""
            sentence = f"00:00 UTC: a new day, every station counts again{begins}"
            self._context.hail(
                Hail(
                    key=f"worked|day|{day}",
                    urgency=Urgency.NOTE,
                    sentence=sentence,
                    rule="new UTC day",
                    at_ms=self._context.now_ms,
                    own_station=True,
                )
            )
        self._announced = day

    def _is_daily(self, reference: Reference) -> bool:
        rule = self._tally.rule(reference)
        return rule is not None and rule.per == "day"

    # -- log ----------------------------------------------------------------------------------------------------------

    @hookimpl
    def contact_logged(self, contact: Contact) -> None:
        """What was new may be so no longer. A correction takes the place of what it corrects."""
        self._forget(None)
        before = [self._progress(reference) for reference in contact.activations]
        self._views = None
        self._tally.logged(contact)
        for was in before:
            now = self._progress(was.reference)
            if was.missing and not now.missing:
                self._complete(now)

    def _progress(self, reference: Reference) -> Progress:
        return self._tally.progress(reference, self._context.now_ms)

    def _complete(self, progress: Progress) -> None:
        programme, name = progress.reference
        now_ms = self._context.now_ms
        self._context.hail(
            Hail(
                key=f"worked|activation|{programme}|{name}|{now_ms // _DAY_MS}",
                urgency=Urgency.NOTE,
                sentence=f"{name}: {progress.words()}",
                rule="activation complete",
                at_ms=now_ms,
                own_station=True,
            )
        )

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """The session's contacts, newest first, how many there are, and how far each activation is."""
        shows = (self._context.now_ms // _DAY_MS, self._context.own.activations, self._context.worked)
        if self._views is None or shows != self._shows:
            self._shows = shows
            self._views = (*self._activations(), self._counts(), self._table())
        return self._views

    def _activations(self) -> tuple[View, ...]:
        """One reading for each reference that is activated, or was in this session; nothing where there is none."""
        references = dict.fromkeys((*self._context.own.activations, *self._tally.references()))
        if not references:
            return ()
        readings = tuple(_reading(self._progress(reference)) for reference in references)
        return (Gauges(name="worked.activations", panel=Panel.LOG, title="Activation", rank=5, readings=readings),)

    def _counts(self) -> Gauges:
        contacts = self._tally.contacts.values()
        today = [contact for contact in contacts if contact.ended_ms // _DAY_MS == self._shows[0]]
        places = Counter((contact.band, contact.mode) for contact in contacts)
        readings = [
            _count("ever", "Contacts in the log", self._context.worked.count),
            _count("session", "This session", len(contacts)),
            _count("day", "This UTC day, this session", len(today)),
            *(
                _count(f"{band}|{mode}", f"{band_words(band)} {mode}", number)
                for (band, mode), number in sorted(places.items(), key=lambda each: (-each[1], str(each[0])))
            ),
        ]
        return Gauges(name="worked.counts", panel=Panel.LOG, title="Contacts", rank=10, readings=tuple(readings))

    def _table(self) -> Table:
        newest = sorted(self._tally.contacts.values(), key=lambda contact: (-contact.ended_ms, contact.key))[:_SHOWN]
        return Table(
            name="worked.contacts",
            panel=Panel.LOG,
            title="Log",
            rank=20,
            columns=(
                Column(key="time", title="UTC", keep=2),
                Column(key="call", title="call", keep=1),
                Column(key="band", title="band", keep=3),
                Column(key="mode", title="mode", keep=4),
                Column(key="sent", title="sent", right=True, keep=5),
                Column(key="received", title="rcvd", right=True, keep=5),
                Column(key="entity", title="entity", keep=6),
                Column(key="distance", title="distance", unit="km", right=True, keep=7),
            ),
            rows=tuple(map(_row, newest)),
            empty="no contact yet in this session",
        )


def _reading(progress: Progress) -> Reading:
    programme, name = progress.reference
    return Reading(
        key=f"{programme}|{name}",
        label=name,
        text=progress.words(),
        value=float(progress.made),
        low=None if progress.rule is None else 0.0,
        high=None if progress.rule is None else float(progress.rule.minimum),
        sentence=f"{name}: {progress.words()}",
    )


def _count(key: str, label: str, number: int) -> Reading:
    return Reading(key=key, label=label, text=str(number), value=float(number))


def _row(contact: Contact) -> Row:
    distance = contact.distance_km
    return Row(
        key=contact.key,
        cells=(
            from_ms(contact.ended_ms).strftime("%H:%M"),
            contact.call,
            band_words(contact.band) if contact.band else "",
            contact.mode,
            minus(contact.report_sent or ""),
            minus(contact.report_received or ""),
            contact.entity or "",
            "" if distance is None else f"{distance:,.0f}",
        ),
        sentence="; ".join(contact.flags) or None,
        data={
            "call": contact.call,
            "band": contact.band,
            "mode": contact.mode,
            "ended_ms": contact.ended_ms,
            "report_sent": contact.report_sent,
            "report_received": contact.report_received,
            "entity": contact.entity,
            "distance_km": distance,
        },
    )
