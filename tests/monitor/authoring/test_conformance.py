"""``watchkeeper plugin check``: good plugins keep every rule, and each fault is held against the right one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from watchkeeper.authoring.conformance import Verdict, judge
from watchkeeper.cli import cli

RULES = ["metadata", "imports", "config", "hooks", "faults", "time", "views", "hails", "determinism", "start"]
RULES += ["background", "blocking", "stop"]
HEAD = """
import asyncio, os, random, socket, threading, time
from typing import Annotated
import msgspec
from watchkeeper.api import Hail, Urgency, hookimpl
from watchkeeper.view import Column, Notice, Panel, Row, Table

class Bad:
    name = "bad"
    api = 1

    def __init__(self, config, context):
        self.context = context

    def hail(self, **fields):
        given = dict(key="k", urgency=Urgency.NOTE, sentence="s", rule="r", at_ms=self.context.now_ms)
        self.context.hail(Hail(**{**given, **fields}))

"""
FIT = {
    "edition": ("metadata", "    api = 7\n", "update Watchkeeper"),
    "other name": ("metadata", "    name = 'worse'\n", "'worse'"),
    "exits at import": ("metadata", "    raise SystemExit(3)\n", "SystemExit"),
    "no default": ("config", "    class Config(msgspec.Struct):\n        limit: int\n", "no default for limit"),
    "past the doors": (
        "imports",
        "    def late(self):\n        from watchkeeper.store import store\n        return store\n",
        "it imports watchkeeper.store.store (bad.py, line ",
    ),
    "default out of bounds": (
        "config",
        "    class Config(msgspec.Struct):\n        rows: Annotated[int, msgspec.Meta(ge=1)] = 0\n",
        "plugins.bad.rows: expected a whole number >= 1, got 0",
    ),
    "unknown type": ("config", "    class Config(msgspec.Struct):\n        limit: 'Nil' = 1\n", "'Nil' is not defined"),
    "unknown hook": ("hooks", "    @hookimpl\n    def anotate(self):\n        pass\n", "did you mean 'annotate'"),
    "wrong argument": ("hooks", "    @hookimpl\n    def annotate(self, heard):\n        pass\n", "takes 'heard', but"),
    "too many arguments": (
        "hooks",
        "    @hookimpl\n    def views(self, b, a):\n        pass\n",
        "its views takes 'a', 'b', but the hook gives nothing",
    ),
    "no mark": ("hooks", "    def period_closed(self):\n        pass\n", "@hookimpl"),
    "cannot be made": ("hooks", "    def __init__(self, config):\n        pass\n", "TypeError"),
}
BUSY = {
    "raises": ("faults", "    @hookimpl\n    def annotate(self):\n        raise ValueError('broken')\n", "broken"),
    "leaves": ("faults", "    @hookimpl\n    def period_closed(self):\n        os._exit(0)\n", "status 0"),
    "floods": (
        "faults",
        "    @hookimpl\n    def period_closed(self):\n        for n in range(1000):\n"
        "            self.hail(key=str(n))\n",
        "hails in one judgement",
    ),
    "slow": (
        "time",
        "    @hookimpl\n    def burst_judged(self):\n"
        "        end = time.thread_time() + 0.08\n        while time.thread_time() < end: pass\n",
        "burst_judged",
    ),
    "hangs": ("time", "    @hookimpl\n    def burst_judged(self):\n        while True: pass\n", "did not come back"),
    "cells": (
        "views",
        "    @hookimpl\n    def views(self):\n        column = Column(key='a', title='a')\n"
        "        row = Row(key='r', cells=('1', '2'))\n"
        "        return [Table(name='t', panel=Panel.LOG, title='t', columns=(column,), rows=(row,))]\n",
        "2 cells under 1 columns",
    ),
    "not text": (
        "views",
        "    @hookimpl\n    def views(self):\n"
        "        return [Notice(name='n', panel=Panel.LOG, title='n', text={1: object()})]\n",
        "view 'n'",
    ),
    "no key": ("hails", "    @hookimpl\n    def period_closed(self):\n        self.hail(key='')\n", "no key"),
    "hash order": (
        "determinism",
        "    @hookimpl\n    def period_closed(self):\n"
        "        self.hail(sentence=' '.join({'a', 'b', 'c', 'd', 'e', 'f', 'g'}))\n",
        "PYTHONHASHSEED",
    ),
    "by the clock": (
        "determinism",
        "    @hookimpl\n    def period_closed(self):\n        self.hail(at_ms=time.time_ns() // 1000)\n",
        "other hails",
    ),
}
LIVE = {
    "start raises": (
        "start",
        "    @hookimpl\n    async def async_start(self):\n        raise SystemExit(2)\n",
        "SystemExit",
    ),
    "background task raises": (
        "background",
        "    @hookimpl\n    async def async_run(self, stop):\n        raise OSError('no line')\n",
        "1 errors, last: its background task ended: OSError: no line",
    ),
    "leaves by a callback": (
        "background",
        "    @hookimpl\n    async def async_run(self, stop):\n"
        "        asyncio.get_running_loop().call_soon(exit, 3)\n        await stop.wait()\n",
        "a callback of its own raised SystemExit: 3",
    ),
    "sleeps": (
        "blocking",
        "    @hookimpl\n    async def async_run(self, stop):\n        time.sleep(0.01)\n        await stop.wait()\n",
        "time.sleep",
    ),
    "connects": (
        "blocking",
        "    @hookimpl\n    async def async_run(self, stop):\n        try:\n"
        "            socket.create_connection(('127.0.0.1', 9), 0.1)\n        except OSError:\n            pass\n"
        "        await stop.wait()\n",
        "socket.",
    ),
    "computes": (
        "blocking",
        "    @hookimpl\n    async def async_run(self, stop):\n        sum(range(40_000_000))\n"
        "        await stop.wait()\n",
        "computed for",
    ),
    "is deaf": (
        "stop",
        "    @hookimpl\n    async def async_run(self):\n        await asyncio.Event().wait()\n",
        "was cancelled",
    ),
    "leaks a task": (
        "stop",
        "    @hookimpl\n    async def async_start(self):\n"
        "        self.task = asyncio.create_task(asyncio.sleep(99), name='nap')\n",
        "'nap'",
    ),
    "leaves a thread": (
        "stop",
        "    @hookimpl\n    async def async_start(self):\n"
        "        threading.Thread(target=threading.Event().wait, name='idler').start()\n",
        "'idler'",
    ),
}


def check(*arguments: str) -> Result:
    return CliRunner().invoke(cli, ["plugin", "check", *arguments])


def checked(target: Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(check(str(target), "--json").output)
    return told


def broken(folder: Path, body: str) -> dict[str, str]:
    """The rules that a plugin of that body breaks, with the reasons."""
    file = folder / "bad.py"
    file.write_text(HEAD + body)
    (judged,) = judge(str(file), trial_s=8)
    assert [each.rule for each in judged.checks] == RULES
    assert not judged.passed
    return {each.rule: each.why for each in judged.checks if each.verdict is Verdict.FAILED}


@pytest.mark.long
@pytest.mark.parametrize(("rule", "body", "why"), [*BUSY.values(), *LIVE.values()], ids=[*BUSY, *LIVE])
def test_a_fault_is_held_against_the_right_rule(tmp_path: Path, rule: str, body: str, why: str) -> None:
    found = broken(tmp_path, body)
    assert [*found] == [rule]
    assert why in found[rule]


@pytest.mark.parametrize(("rule", "body", "why"), FIT.values(), ids=FIT)
def test_a_plugin_that_is_not_fit_to_run_is_tried_no_further(tmp_path: Path, rule: str, body: str, why: str) -> None:
    found = broken(tmp_path, body)
    assert [*found] == [rule]
    assert why in found[rule]


def test_a_generated_plugin_keeps_every_rule(tmp_path: Path) -> None:
    CliRunner().invoke(cli, ["plugin", "new", "far_away", "--in", str(tmp_path)])
    told = checked(tmp_path / "far_away")
    assert told["passed"] is True
    (plugin,) = told["plugins"]
    assert (plugin["name"], plugin["distribution"], plugin["passed"]) == ("far_away", "watchkeeper-far-away", True)
    assert plugin["checks"] == [{"rule": rule, "verdict": "done", "why": ""} for rule in RULES]


def test_a_person_reads_a_line_a_rule_and_the_status_is_1(tmp_path: Path) -> None:
    (tmp_path / "bad.py").write_text(HEAD + "    api = 7\n")
    made = check(str(tmp_path))
    assert made.exit_code == 1
    heading, first, *rest = made.output.splitlines()
    assert heading == f"bad: {tmp_path / 'bad.py'}"
    assert first.startswith("  failed   metadata: it is written for edition 7")
    assert rest == [f"  untried  {rule}" for rule in RULES[1:]]


@pytest.mark.long
@pytest.mark.parametrize(
    "name", ["deliver", "forward", "lookout", "mqtt", "openings", "reach", "supply", "vitals", "worked"]
)
def test_the_first_party_plugins_keep_every_rule(name: str) -> None:
    made = check(name)
    assert made.exit_code == 0, made.output
    assert made.output.startswith(f"{name}: watchkeeper ")


@pytest.mark.parametrize(
    ("target", "why"),
    [
        ("lookuot", "did you mean 'lookout'?"),
        ("empty", "holds no plugin"),
        ("project", "names no plugin"),
        ("broken", "pyproject.toml"),
        ("text.txt", "no *.py file"),
    ],
)
def test_where_there_is_no_plugin_one_error_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, target: str, why: str
) -> None:
    for folder, text in (("project", '[project]\nname = "x"\n'), ("broken", "[project\n")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "pyproject.toml").write_text(text)
    (tmp_path / "empty").mkdir()
    (tmp_path / "text.txt").write_text("")
    monkeypatch.chdir(tmp_path)
    made = check(target)
    assert made.exit_code == 1
    assert why in made.output
    assert len(made.output.splitlines()) == 1
