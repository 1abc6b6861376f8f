"""The plugin host through its public face: what runs, and in what order."""

from __future__ import annotations

from typing import Any

import pytest
from tests.monitor.host.plugins import (
    Configured,
    First,
    Giver,
    Plain,
    Second,
    Shower,
    Taker,
)

from watchkeeper.api import Hearing, hookimpl
from watchkeeper.config import PluginSettings
from watchkeeper.host.discovery import Candidate
from watchkeeper.host.status import State
from watchkeeper.testing import Bench


def candidate(name: str, load: Any) -> Candidate:
    return Candidate(name, "some-package", "1.0", load)


def test_providers_come_before_those_who_need_their_notes() -> None:
    bench = Bench(Taker, Giver)
    (hearing,) = bench.hear("CQ CE3QRT FF46")
    assert hearing.note(First) == First(text="CQ CE3QRT FF46")
    assert hearing.note(Second) == Second(text="cq ce3qrt ff46")


def test_an_unmet_need_blocks_that_plugin_and_names_the_note() -> None:
    bench = Bench(Taker, Shower)
    assert bench.status("aa_taker").state is State.BLOCKED
    assert "First" in (bench.status("aa_taker").reason or "")
    assert bench.status("shower").state is State.RUNNING


def test_a_circle_is_named_and_blocks_its_members_and_who_needs_them() -> None:
    class A(Plain):
        name = "a"
        provides = (First,)
        needs = (Second,)

    class B(Plain):
        name = "b"
        provides = (Second,)
        needs = (First,)

    class C(Plain):
        name = "c"
        needs = (First,)

    bench = Bench(A, B, C, Shower)
    assert [bench.status(name).state for name in "abc"] == [State.BLOCKED] * 3
    assert "circle" in (bench.status("a").reason or "")
    assert "First" in (bench.status("c").reason or "")
    assert bench.status("shower").state is State.RUNNING


def test_of_two_who_provide_one_note_the_first_by_name_runs() -> None:
    class Other(Giver):
        name = "b_giver"

    bench = Bench(Giver, Other)
    assert bench.status("b_giver").state is State.RUNNING
    assert bench.status("zz_giver").state is State.BLOCKED


@pytest.mark.parametrize("error", [ImportError("no such module"), SystemExit(3), RecursionError(), ValueError("x")])
def test_an_import_that_fails_is_told_and_hinders_nobody(error: BaseException) -> None:
    def load() -> type:
        raise error

    bench = Bench(Shower, candidates=[candidate("bad", load)])
    bad = bench.status("bad")
    assert bad.state is State.FAILED
    assert type(error).__name__ in (bad.reason or "")
    assert (bad.distribution, bad.version) == ("some-package", "1.0")
    assert bench.status("shower").state is State.RUNNING


def _with(**attributes: Any) -> type:
    return type("Odd", (Plain,), {"name": "odd", **attributes})


def _misspelt(self: Any, hearing: Hearing) -> None: ...


def _named_otherwise(self: Any, heard: Hearing) -> None: ...


async def _asynchronous(self: Any, hearing: Hearing) -> None: ...


def _raising(self: Any, config: object, context: object) -> None:
    raise RuntimeError("not today")


@pytest.mark.parametrize(
    ("plugin", "word"),
    [
        (_with(api=2), "update Watchkeeper"),
        (_with(api=0), "the plugin needs an update"),
        (_with(api=None), "edition"),
        (_with(name="Odd"), "small letters"),
        (_with(Config=dict), "msgspec.Struct"),
        (_with(provides=(int,)), "provides"),
        (_with(annotat=hookimpl(_misspelt)), "did you mean 'annotate'"),
        (_with(annotate=hookimpl(_named_otherwise)), "heard"),
        (_with(annotate=hookimpl(_asynchronous)), "must not be an async function"),
        (_with(async_run=hookimpl(lambda self, stop: None)), "must be an async function"),
        (_with(annotate=hookimpl(wrapper=True)(lambda self, hearing: (yield))), "wrapper"),
        (_with(annotate=hookimpl(hookwrapper=True)(lambda self, hearing: (yield))), "wrapper"),
        (_with(annotate=hookimpl(tryfirst=True)(_misspelt)), "order"),
        (_with(__init__=_raising), "not today"),
    ],
)
def test_what_is_unfit_is_blocked_with_a_clear_word(plugin: type, word: str) -> None:
    bench = Bench(plugin, Shower)
    status = bench.status(getattr(plugin, "name", ""))
    assert status.state is State.BLOCKED
    assert word in (status.reason or "")
    assert bench.status("shower").state is State.RUNNING


def test_a_class_entered_under_another_name_is_blocked() -> None:
    bench = Bench(candidates=[candidate("other", lambda: Plain)])
    assert "'plain'" in (bench.status("other").reason or "")


def test_a_config_section_is_made_and_all_that_is_wrong_is_told_at_once() -> None:
    good = Bench(Configured, config={"configured": {"limit": 7, "enabled": True}})
    assert good.status("configured").state is State.RUNNING
    bad = Bench(Configured, Shower, config={"configured": {"limit": "x", "word": 1}})
    reason = bad.status("configured").reason or ""
    assert "plugins.configured.limit" in reason
    assert "did you mean 'words'" in reason
    assert bad.status("shower").state is State.RUNNING


@pytest.mark.parametrize(
    ("settings", "running"),
    [
        (PluginSettings(), {"plain", "shower"}),
        (PluginSettings(allow=("plain",)), {"plain"}),
        (PluginSettings(block=("plain",)), {"shower"}),
        (PluginSettings(allow=("plain", "shower"), block=("plain",)), {"shower"}),
        (PluginSettings(allow=()), set()),
    ],
)
def test_the_allow_and_block_lists(settings: PluginSettings, running: set[str]) -> None:
    bench = Bench(Plain, Shower, settings=settings)
    assert {each.name for each in bench.host.status() if each.state is State.RUNNING} == running


def test_a_plugin_that_is_switched_off_is_not_even_imported() -> None:
    def load() -> type:
        raise AssertionError("imported")

    bench = Bench(candidates=[candidate("heavy", load)], config={"heavy": {"enabled": False}})
    assert bench.status("heavy").state is State.OFF
    bench = Bench(candidates=[candidate("heavy", load)], config={"heavy": {"enabled": "no"}})
    assert bench.status("heavy").state is State.BLOCKED


def test_names_that_no_plugin_has_are_noticed() -> None:
    bench = Bench(Shower, settings=PluginSettings(block=("showr",)), config={"shwer": {}})
    assert len(bench.host.notices) == 2
    assert all("did you mean 'shower'" in notice for notice in bench.host.notices)


def test_two_packages_with_one_plugin_name() -> None:
    bench = Bench(Plain, candidates=[candidate("plain", lambda: Shower)])
    assert bench.status("plain").state is State.RUNNING
    assert any("some-package" in notice for notice in bench.host.notices)
