"""The deterministic bench for plugin tests: a real watch and the real plugin host in memory, fed with events.

    bench = Bench(Lookout, config={"lookout": {"rule": [{"name": "me", "calls_me": True}]}})
    (hearing,) = bench.period("DL5QRM CE3QRT FF46", snr_db=-12)
    assert bench.expect_note(hearing, LookoutNote).rules == ("me",)
    assert bench.expect_hail(call="CE3QRT").rule == "me"
    assert bench.table("lookout").rows[0].data["call"] == "CE3QRT"

There is no clock and no network: event time advances period by period, journal time with every entry, and the same
calls give the same notes, hails and views. Calls in examples carry a suffix from QRA to QUZ: they belong to nobody.
"""

from __future__ import annotations

import copy
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, asynccontextmanager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import msgspec

from .config import PluginSettings
from .host.discovery import Candidate
from .host.guard import Meter
from .host.plugin_host import Outlets, PluginHost
from .host.status import PluginStatus, Rest
from .model import Contact, Destination, Hail, Hearing, Note, Own
from .radio import band, mode
from .schema import events
from .store.worked import WorkedIndex, facts
from .view import AnyView, Table, View
from .watch.journal import Chunk, Entry, Outcome
from .watch.pipeline import Watch
from .watch.rules import Rules

if TYPE_CHECKING:
    import sqlite3

N = TypeVar("N", bound=Note)
V = TypeVar("V", bound=View)
#: 1 May 2026, 18:00:00 UTC: an even period of every timed mode
START_MS = 1_777_658_400_000
OWN = Own(call="DL5QRM", locator="JO62qm", power_w=10.0)


class NoRecords:
    """A durable record that keeps what plugins submit in a list and cannot be read."""

    def __init__(self) -> None:
        self.submitted: list[tuple[str, str, Mapping[str, Any]]] = []
        self.migrated: dict[str, list[str]] = {}

    def submit(self, plugin: str, statements: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
        """Keep the statements."""
        self.submitted += [(plugin, sql, values) for sql, values in statements]

    def reader(self) -> AbstractContextManager[sqlite3.Connection]:
        """An empty database in memory."""
        return _empty_database()

    def migrate(self, plugin: str, scripts: Sequence[str]) -> None:
        """Keep the scripts."""
        self.migrated[plugin] = list(scripts)


class Bench:
    """A watch with the given plugin classes. ``config`` holds their sections by name.

    ``hails`` are those that went out, oldest first; ``raised`` all that plugins raised, with the plugin's name, before
    the core held any off; ``rests`` those that the host asked for (they are applied at once, as the live watch does);
    ``reachable`` the destinations of which plugins said that they are back.
    """

    def __init__(
        self,
        *plugins: type,
        config: Mapping[str, Mapping[str, Any]] | None = None,
        own: Own = OWN,
        worked: WorkedIndex | None = None,
        data_dir: Path = Path("no-such-folder"),
        settings: PluginSettings | None = None,
        candidates: Sequence[Candidate] = (),
        meter: Meter | None = None,
        mode: str = "FT8",
        dial_hz: int = 14_074_000,
    ) -> None:
        self.mode = mode
        self.dial_hz = dial_hz
        self.start_ms = START_MS
        self.hails: list[Hail] = []
        self.raised: list[tuple[str, Hail]] = []
        self.rests: list[Rest] = []
        self.reachable: list[str] = []
        self.records = NoRecords()
        self._own = own
        self._before = copy.deepcopy(worked or WorkedIndex())
        self.watch = Watch(Rules(), own, worked or WorkedIndex())
        sections = {name: dict(section) for name, section in (config or {}).items()}
        settings = msgspec.structs.replace(settings or PluginSettings(), sections=sections)
        self.host = PluginHost(
            settings,
            self.watch,
            Outlets(self._raise, self.rests.append, self.records, data_dir, self.reachable.append),
            candidates=[*map(candidate, plugins), *candidates],
            meter=meter,
        )
        self.watch.attach(self.host)
        self.journal: list[Entry] = []
        self._chunk = Chunk()
        self._t = START_MS
        self._heard = 0
        self._logged = 0
        self._applied = 0

    # -- feeding ------------------------------------------------------------------------------------------------------

    def feed(self, event: events.AnyEvent, *, after_ms: int = 1) -> None:
        """Feed one event, ``after_ms`` of journal time after the one before."""
        self._enter(after_ms, event=event)

    def hear(self, *texts: str, **fields: Any) -> list[Hearing]:
        """Hear messages in this period; ``fields`` are those of a ``heard`` event (``snr_db``, ``offset_hz``, …)."""
        found = []
        for text in texts:
            self.feed(events.Heard(**{**self._envelope(), "offset_hz": 1500.0, "snr_db": -10.0, **fields}, text=text))
            self._heard += 1
            period = self.watch.period
            assert period is not None
            found += [hearing for hearing in period.hearings if hearing.text == text]
        return found

    def judge(self) -> None:
        """Let 200 ms of silence end the burst."""
        self._enter(200)

    def close(self, **fields: Any) -> None:
        """Close the period by its final marker (``fields`` are those of a ``period`` event); the next one begins."""
        self.feed(events.Period(**{**self._envelope(), "count": self._heard, "final": True, **fields}))
        self.skip()

    def period(self, *texts: str, **fields: Any) -> list[Hearing]:
        """Hear messages and close the period; returns the hearings."""
        found = self.hear(*texts, **fields)
        self.close()
        return found

    def skip(self, periods: int = 1) -> None:
        """Go on to a later period without a word."""
        known = mode.timed(self.mode)
        assert known is not None
        self.start_ms += round(periods * known.period_s * 1000)
        self._heard = 0

    def send(self, text: str, **fields: Any) -> None:
        """Send a message in this period."""
        self.feed(events.Sent(**{**self._envelope(), "offset_hz": 1500.0, **fields}, text=text))

    def station(self, **fields: Any) -> None:
        """Tell who operates; ``fields`` are those of a ``station`` event (``call``, ``locator``, ``power_w``, …)."""
        self.feed(events.Station(**{**self._stamp(), "call": self.watch.own.call or "DL5QRM", **fields}))

    def tune(self, **fields: Any) -> None:
        """Tell where the receiver listens; ``dial_hz`` and ``mode`` hold for what is heard from then on."""
        self.dial_hz = int(fields.get("dial_hz", self.dial_hz))
        self.mode = str(fields.get("mode", self.mode))
        self.feed(events.Tuning(**{**self._envelope(), **fields}))

    def received_by(self, by_call: str, **fields: Any) -> None:
        """Somebody else heard the own station; ``fields`` are those of a ``reception`` event."""
        self.feed(events.Reception(**{**self._envelope(), "snr_db": -10.0, **fields}, by_call=by_call))

    def gauge(self, **fields: Any) -> None:
        """Readings of the station; ``fields`` are those of a ``gauge`` event (``forward_w``, ``supply_v``, …)."""
        self.feed(events.Gauge(**{**self._stamp(), **fields}))

    def log(self, call: str, **fields: Any) -> Contact:
        """Log a contact that ends now; ``fields`` are those of a ``contact`` event."""
        self._logged += 1
        at = events.from_ms(self.start_ms)
        told = {**self._envelope(), "id": f"bench-{self._logged}", "started_at": at, "ended_at": at, **fields}
        self.feed(events.Contact(**told, call=call))
        made = self.watch.candidate
        assert made is not None
        self._enter(1, outcome=Outcome(key=made.contact.key, status="stored", contact=self._logged))
        return made.contact

    def _stamp(self) -> dict[str, Any]:
        return {"v": 1, "source": "bench", "at": events.from_ms(self.start_ms)}

    def _envelope(self) -> dict[str, Any]:
        return {**self._stamp(), "mode": self.mode, "dial_hz": self.dial_hz}

    def _enter(self, after_ms: int, **what: Any) -> None:
        self._t += after_ms
        entry = self._chunk.number(self._t, **what)
        self.journal.append(entry)
        self.watch.feed(entry)
        self.hails += self.watch.drain().hails
        while self._applied < len(self.rests):
            rest = self.rests[self._applied]
            self._applied += 1
            self._enter(1, rest=rest)

    async def reload(self, *plugins: type, config: Mapping[str, Mapping[str, Any]]) -> list[str]:
        """Go over to other plugins or another config, as the live watch does; what is wrong with them otherwise."""
        sections = {name: dict(section) for name, section in config.items()}
        settings = msgspec.structs.replace(self.host.settings, sections=sections)
        return await self.host.reload(settings, self._read_again, candidates=[*map(candidate, plugins)])

    async def _read_again(self, host: PluginHost) -> None:
        watch = Watch(Rules(), self._own, copy.deepcopy(self._before))
        host.attach(watch)
        watch.attach(host)
        for entry in self.journal:
            watch.feed(entry)

    def _raise(self, plugin: str, hail: Hail) -> None:
        self.raised.append((plugin, hail))
        self.watch.hail(plugin, hail)

    # -- looking ------------------------------------------------------------------------------------------------------

    def views(self) -> list[AnyView]:
        """What all plugins show now."""
        return self.host.views()

    def view(self, name: str, form: type[V]) -> V:
        """The view of that name and form (``Table``, ``Gauges``, …); raises AssertionError where no plugin shows it."""
        shown = self.views()
        for view in shown:
            if view.name == name and isinstance(view, form):
                return view
        raise AssertionError(f"no {form.__name__} {name!r} among {[view.name for view in shown]}")

    def table(self, name: str) -> Table:
        """The table of that name; raises AssertionError where no plugin shows it."""
        return self.view(name, Table)

    def expect_note(self, hearing: Hearing, kind: type[N]) -> N:
        """The note of that type on the hearing; raises AssertionError where no plugin put one."""
        found = hearing.note(kind)
        if found is None:
            raise AssertionError(f"no {kind.__name__} on {hearing.text!r} but {[*hearing.noted.values()]}")
        return found

    def expect_hail(self, **fields: Any) -> Hail:
        """The one hail that has these fields (``call``, ``rule``, ``urgency``, …).

        Raises AssertionError where none has, or more than one.
        """
        found = [hail for hail in self.hails if all(getattr(hail, name) == value for name, value in fields.items())]
        if len(found) != 1:
            raise AssertionError(f"{len(found)} hails with {fields} among {self.hails}")
        return found[0]

    @asynccontextmanager
    async def running(self) -> AsyncIterator[PluginHost]:
        """With the plugins started, and ``async_run`` and deliveries going on; all of it is stopped at the end.

        What they do is not part of the journal: it follows the loop, and the clock that the plugin itself uses.
        """
        await self.host.start()
        try:
            yield self.host
        finally:
            await self.host.stop()

    def status(self, plugin: str) -> PluginStatus:
        """How a plugin stands; raises LookupError for one that is not here."""
        for status in self.host.status():
            if status.name == plugin:
                return status
        raise LookupError(plugin)

    def destinations(self) -> list[Destination]:
        """Where the plugins would send contacts."""
        return self.host.destinations()


def candidate(plugin: type) -> Candidate:
    """A plugin class as if a package of its module's name had brought it."""
    name = getattr(plugin, "name", plugin.__name__.lower())
    return Candidate(str(name), plugin.__module__.partition(".")[0], "0", lambda: plugin)


def worked_index(*contacts: tuple[str, str, str], at_ms: int = START_MS - 86_400_000) -> WorkedIndex:
    """A worked index of (call, band, mode) contacts, made a day before the bench begins unless told."""
    index = WorkedIndex()
    for call, on_band, in_mode in contacts:
        if band.get(on_band) is None:
            raise ValueError(f"no band {on_band!r}")
        index.add(facts(call), on_band, in_mode, at_ms)
    index.begin_session()
    return index


@contextmanager
def _empty_database() -> Iterator[sqlite3.Connection]:
    import sqlite3

    connection = sqlite3.connect(":memory:")
    try:
        yield connection
    finally:
        connection.close()
