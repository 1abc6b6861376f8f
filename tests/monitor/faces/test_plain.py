"""The watch in sentences: what is told, that nothing is told twice, and that hostile text stays one line."""

from __future__ import annotations

import asyncio
from typing import Any

from hypothesis import given, settings
from tests.monitor.faces import scenes
from tests.monitor.faces.test_clean import HOSTILE
from tests.monitor.faces.test_source import Watch

from watchkeeper.faces.plain import Narrator, narrate
from watchkeeper.faces.shown import to_snapshot, to_status
from watchkeeper.faces.standing import sentences


class Evening:
    """A narrator and what it was last shown."""

    def __init__(self) -> None:
        self.narrator = Narrator()
        self.snapshot: dict[str, Any] = scenes.snapshot()
        self.status: dict[str, Any] = scenes.status()
        self.now_ms = scenes.NOW_MS

    def told(self, status: dict[str, Any] | None = None, **changes: Any) -> list[str]:
        self.snapshot = {**self.snapshot, **changes}
        self.status = {**self.status, **(status or {})}
        lines = self.narrator.tell(to_snapshot(self.snapshot), to_status(self.status), self.now_ms)
        assert all(line.startswith("18:42:06 ") for line in lines)
        return [line.removeprefix("18:42:06 ") for line in lines]


def test_the_first_words_say_all_that_matters() -> None:
    assert Evening().told() == [
        "Watching as DL5QRM from JO40 on 20 m FT8, dial 14.074 MHz.",
        "Urgent hail: CE3QRA: first Chile for you on 20 m, because heard twice, path in twilight.",
        "Wanted hail: SWR has risen to 1.9.",
        "Call CE3QRA: first Chile for you on 20 m; call in odd periods, on 1,432 Hz, heard at −12 dB, "
        "chance 70 percent.",
        "W1QSB calls you, −3 dB.",
        "G4QRT calls you, +2 dB.",
        "12 contacts in the log.",
        "Match: SWR 1.9, rising; the match went from 1.3 to 1.9 in ten minutes: look at the antenna.",
        "web log does not take contacts (connection refused), 1 waiting; they are kept.",
        "3 events not valid.",
        "2 events lost on the way.",
    ]


def test_nothing_is_told_twice() -> None:
    evening = Evening()
    evening.told()
    assert evening.told() == []
    # numbers that move are no news
    moved = {**scenes.STATUS["intake"], "received": 5000, "lost": 3}
    assert evening.told(status={"intake": moved}) == []


def test_of_many_hails_at_once_the_most_urgent_are_told() -> None:
    evening = Evening()
    evening.told()
    many = [{"key": str(n), "urgency": n % 4, "sentence": f"hail {n}", "at_ms": scenes.NOW_MS} for n in range(12)]
    told = evening.told(hails=many)
    assert [line.split(":")[0] for line in told] == [*["Urgent hail"] * 3, *["Wanted hail"] * 2, "And 7 hails more."]
    assert evening.told() == []


def test_a_contact_is_told_with_its_call_and_count() -> None:
    evening = Evening()
    evening.told()
    views = scenes.snapshot()["views"]
    views[-1]["rows"].insert(0, scenes.row("4", "18:42:00", "W1QSB", "20 m", "−03 / −11", "waiting", call="W1QSB"))
    assert evening.told(views=views, contacts=13) == ["Contact with W1QSB logged: 13 contacts in the log."]


def test_advice_that_changes_or_ends_is_told() -> None:
    evening = Evening()
    evening.told()
    views = scenes.snapshot()["views"]
    del views[0]["rows"][0]
    assert evening.told(views=views)[0].startswith("Call JA1QRV: first locator PM95 here; call in even periods")
    views[0]["rows"] = []
    assert evening.told(views=views) == ["Nobody to call now."]


def test_who_calls_is_answered_and_not_called() -> None:
    evening = Evening()
    evening.told()
    views = scenes.snapshot()["views"]
    del views[0]["rows"][0]
    views[0]["rows"][0]["data"]["to_me"] = True
    assert evening.told(views=views)[0].startswith("Answer JA1QRV: ")


def test_a_caller_that_comes_back_is_told_again() -> None:
    evening = Evening()
    evening.told()
    quiet = scenes.snapshot()["views"]
    quiet[1]["rows"] = quiet[1]["rows"][1:]
    assert evening.told(views=quiet) == []
    assert evening.told(views=scenes.snapshot()["views"]) == ["W1QSB calls you, −3 dB."]


def test_vitals_and_destinations_recover() -> None:
    evening = Evening()
    evening.told()
    views = scenes.snapshot()["views"]
    views[5]["readings"][3].update(urgency=0, text="SWR 1.3")
    box = {**scenes.STATUS["outbox"]["web log"], "down_since": None, "waiting": 0}
    assert evening.told(views=views, status={"outbox": {"web log": box}}) == [
        "Match is well again: SWR 1.3.",
        "web log takes contacts again.",
    ]


def test_silence_is_told_once_and_so_is_its_end() -> None:
    evening = Evening()
    evening.told()
    evening.now_ms += 60_000
    assert evening.told() == ["Nothing from any source for 60 s: check that the decoder runs and sends."]
    evening.now_ms += 60_000
    assert evening.told() == []
    evening.now_ms = scenes.NOW_MS
    assert evening.told() == ["The source speaks again."]


def test_each_period_that_brings_something_new_gets_one_line() -> None:
    evening = Evening()
    evening.told()
    closed = {**scenes.SNAPSHOT["period"], "closed": True, "heard": 21}
    assert evening.told(period=closed) == [
        "Even period of 18:42:00: 21 hearings, 13 stations on the air, 12 contacts in the log."
    ]
    assert evening.told(period={**closed}) == []


@settings(max_examples=100)
@given(HOSTILE)
def test_hostile_text_stays_within_its_sentence(text: str) -> None:
    snapshot = scenes.snapshot(hails=[{"key": text, "urgency": 3, "sentence": text, "at_ms": 1, "reasons": [text]}])
    snapshot["views"][0]["rows"][0]["cells"][0] = text
    snapshot["views"][0]["rows"][0]["data"]["call"] = text
    status = scenes.status(notices=[text])
    lines = Narrator().tell(to_snapshot(snapshot), to_status(status), scenes.NOW_MS)
    assert all(line.isprintable() for line in lines)
    assert all(line.isprintable() for line in sentences(to_snapshot(snapshot), to_status(status)))


async def test_narrating_follows_the_watch() -> None:
    watch, told, loop = Watch(), asyncio.Queue[str](), asyncio.get_running_loop()

    def write(line: str) -> None:
        loop.call_soon_threadsafe(told.put_nowait, line)

    task = asyncio.create_task(narrate(watch.source, write, lambda _: scenes.NOW_MS))
    async with asyncio.timeout(30):
        while "12 contacts" not in await told.get():
            pass
        watch.show(contacts=13)
        while "13 contacts" not in await told.get():
            pass
    task.cancel()


def test_status_in_sentences() -> None:
    told = list(sentences(to_snapshot(scenes.snapshot()), to_status(scenes.status())))
    assert told[0] == "Station: DL5QRM, JO40, FT8, 14.074 MHz."
    assert "Log: 12 contacts in the log in this session; data/contacts-2026-06-20.adi." in told
    assert "Forwarding: web log not answering for 76 s, 1 waiting, 11 forwarded (connection refused)." in told
    assert "Plugins: 1 of 1 running." in told
