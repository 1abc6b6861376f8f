"""Going over to another configuration in mid-session: all or nothing, and a replay or a restart follows to the byte."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import msgspec
import pytest
from tests.monitor.watch.build import contact, heard, marker
from tests.monitor.watch.test_keeper import CONFIG, Live, live
from tests.monitor.watch.test_replay import evening, run

from watchkeeper.config import Config, PluginSettings, Station, Watch
from watchkeeper.watch.journal import decode
from watchkeeper.watch.keeper import Keeper
from watchkeeper.watch.reload import ReloadRefusedError

PLUGINS = ("lookout", "openings", "worked")
BEFORE: Config = msgspec.structs.replace(CONFIG, plugins=PluginSettings(allow=PLUGINS))


def after(**lookout: Any) -> Config:
    """Another config: a rule of another kind, other hold-offs, another power."""
    rule = {"name": "far away", "min_distance_km": 5000, **lookout}
    return Config(
        station=Station(call="DL5QRM", locator="JO62qm", power_w=5.0),
        plugins=PluginSettings(allow=PLUGINS, sections={"lookout": {"rule": [rule]}}),
        watch=Watch(session_gap_h=2.0, hail_hold_off_min=1, silence_ms=500),
    )


def shown(keeper: Keeper) -> bytes:
    return msgspec.json.encode({"snapshot": keeper.snapshot()}, order="deterministic")


def hails(watch: Live) -> list[str]:
    return [hail.rule for hail in watch.keeper.watch.hails.recent]


async def test_the_rules_of_the_new_config_hold_from_the_next_period_on(tmp_path: Path) -> None:
    async with live(tmp_path, BEFORE) as watch:
        await watch.take(heard("CQ CE3QRT FF46", 1), marker(1, 1, final=True))
        before = hails(watch)
        await watch.keeper.reload(after())
        assert hails(watch) == before, "what was heard before is not hailed again"
        assert watch.keeper.watch.own.power_w == 5.0
        await watch.take(heard("CQ VK2QRU QF56", 2), marker(1, 2, final=True))
        assert hails(watch) == [*before, "far away"]


async def test_a_replay_and_a_restart_follow_the_reload_to_the_byte(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchkeeper.watch.keeper.GAP_WAIT_S", 0.01)  # this evening's periods overlap
    talk = evening()
    async with live(tmp_path, BEFORE) as watch:
        await watch.take(*talk[: len(talk) // 2])
        await watch.keeper.reload(after())
        await watch.take(*talk[len(talk) // 2 :])
        last, told = shown(watch.keeper), [hail.sentence for hail in watch.keeper.watch.hails.recent]
    exported = run("record", "--data", str(tmp_path))
    *replayed, snapshot = run("replay", "-", "--json", given=exported).splitlines()
    assert snapshot == last
    assert [msgspec.json.decode(line)["hail"]["sentence"] for line in replayed] == told
    assert any(b"far away" in line for line in replayed)
    async with live(tmp_path, after()) as watch:
        assert shown(watch.keeper) == last


async def test_a_config_that_was_changed_while_the_watch_was_down_enters_the_journal(tmp_path: Path) -> None:
    talk = evening()
    async with live(tmp_path, BEFORE) as watch:
        await watch.take(*talk[:200])
    async with live(tmp_path, after()) as watch:
        await watch.take(*talk[200:])
        last = shown(watch.keeper)
        number = watch.keeper.session.number
        await watch.store.pulse()
        assert sum(entry.reload is not None for entry in decode(watch.store.read_journal(number))) == 1
    exported = run("record", "--data", str(tmp_path))
    assert run("replay", "-", "--json", given=exported).splitlines()[-1] == last


async def test_a_replay_under_a_config_of_its_own_passes_reloads_over(tmp_path: Path) -> None:
    async with live(tmp_path / "data", BEFORE) as watch:
        await watch.take(heard("CQ CE3QRT FF46", 1), marker(1, 1, final=True))
        await watch.keeper.reload(after())
        await watch.take(heard("CQ VK2QRU QF56", 2), marker(1, 2, final=True))
    tried = tmp_path / "tried.toml"
    tried.write_text('[station]\ncall = "DL5QRM"\n[[plugins.lookout.rule]]\nname = "south"\ncontinents = ["OC"]\n')
    exported = run("record", "--data", str(tmp_path / "data"))
    told = run("replay", "-", "--json", "--config", str(tried), given=exported).splitlines()
    assert [msgspec.json.decode(line)["hail"]["rule"] for line in told[:-1]] == ["south"]


async def test_what_a_plugin_refuses_changes_nothing(tmp_path: Path) -> None:
    async with live(tmp_path, BEFORE) as watch:
        before = watch.keeper.config
        with pytest.raises(ReloadRefusedError, match=r"plugins\.lookout\.rule"):
            await watch.keeper.reload(after(entities=["Atlantis"]))
        assert watch.keeper.config is before
        assert watch.keeper.watch.own.power_w == 10.0
        await watch.take(heard("DL5QRM CE3QRT FF46", 1), marker(1, 1, final=True), contact("CE3QRT"))
        assert "calls you" in hails(watch)
        number = watch.keeper.session.number
        await watch.store.pulse()
        assert all(entry.reload is None for entry in decode(watch.store.read_journal(number)))


async def test_a_reload_waits_until_the_period_is_judged(tmp_path: Path) -> None:
    async with live(tmp_path, BEFORE) as watch:
        await watch.take(heard("CQ CE3QRT FF46", 1))
        going = asyncio.create_task(watch.keeper.reload(after()))
        await watch.take(heard("CQ VK2QRU QF56", 1))
        assert not going.done()
        assert "far away" not in hails(watch)
        await watch.take(marker(2, 1, final=True))
        await going
        assert watch.keeper.watch.own.power_w == 5.0


async def test_safe_mode_stays_safe_through_a_reload_and_in_a_replay(tmp_path: Path) -> None:
    watch = Live(tmp_path, BEFORE)
    watch.keeper = Keeper(
        BEFORE, watch.store, clock_ms=lambda: 0, answer=lambda *_: None, changed=lambda: None, safe=True
    )
    await watch.keeper.start()
    await watch.keeper.reload(after())
    await watch.take(heard("DL5QRM CE3QRT FF46", 1), marker(1, 1, final=True))
    assert hails(watch) == []
    assert {status.state for status in watch.keeper.plugins()} == {"off"}
    await watch.keeper.stop()
    watch.store.close()
    exported = run("record", "--data", str(tmp_path))
    assert len(run("replay", "-", "--json", given=exported).splitlines()) == 1
