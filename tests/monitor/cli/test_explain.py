"""``watchkeeper explain``: why a station did hail and why not, from a running watch and from a journal."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import msgspec
import pytest
from click.testing import CliRunner
from tests.monitor.watch.build import heard, marker
from tests.monitor.watch.test_keeper import CONFIG, live

from watchkeeper.cli import cli
from watchkeeper.faces.page.app import make_app
from watchkeeper.faces.page.serving import serve_unix
from watchkeeper.faces.source import Changes, LocalSource
from watchkeeper.watch.explaining import explain

TALK = (heard("DL5QRM W1QSB FN42", 1), heard("CQ DX OE1QRM JN88", 1), marker(2, 1, final=True))


def asked(*words: str) -> Any:
    ran = CliRunner().invoke(cli, ["explain", *words])
    return ran.exit_code, ran.output


async def test_a_journal_tells_it_when_no_watch_runs(tmp_path: Path) -> None:
    async with live(tmp_path, CONFIG) as watch:
        await watch.take(*TALK)
    status, output = await asyncio.to_thread(asked, "w1qsb", "--data", str(tmp_path))
    assert status == 0
    assert output.startswith("W1QSB, on the air.\n")
    assert "hailed by rule 'calls you': W1QSB (United States) calls you on 20 m" in output
    assert "- advised as number 1 of 1: W1QSB calls you" in output
    status, output = await asyncio.to_thread(asked, "OE1QRM", "--json", "--data", str(tmp_path))
    told = json.loads(output)
    assert (status, told["hails"]) == (0, [])
    assert "it does not hail: it calls DX, which is not you" in told["because"]
    assert "not advised: it calls DX, which is not you" in told["because"]
    assert any(line.startswith("rule 'calls you' does not match: it does not call you") for line in told["because"])


async def test_the_running_watch_is_asked_over_its_socket(tmp_path: Path) -> None:
    async with live(tmp_path, CONFIG) as watch:
        await watch.take(*TALK)
        keeper = watch.keeper
        source = LocalSource(
            keeper.snapshot, dict, Changes(), explain=lambda call: explain(keeper.watch, keeper.session.host, call)
        )
        async with serve_unix(make_app(source), tmp_path / "watch.sock"):
            status, output = await asyncio.to_thread(asked, "W1QSB", "--json", "--data", str(tmp_path))
            refused, why = await asyncio.to_thread(asked, "X" * 40, "--data", str(tmp_path))
        assert status == 0
        assert json.loads(output) == json.loads(
            msgspec.json.encode(explain(keeper.watch, keeper.session.host, "W1QSB"))
        )
    assert refused == 1
    assert "call must name a station" in why


async def test_who_was_not_heard_is_told_as_such(tmp_path: Path) -> None:
    async with live(tmp_path, CONFIG) as watch:
        await watch.take(*TALK)
    _, output = await asyncio.to_thread(asked, "XX9QRM", "--data", str(tmp_path))
    assert output.startswith("XX9QRM, not on the air now.\nIt did not hail.\n")
    assert "was not heard" in output


@pytest.mark.parametrize(
    ("word", "head", "because"),
    [
        ("<w1qsb>", "W1QSB, on the air.", "advised as number 1"),
        ("<...>", "<...>, not on the air now.", "'<...>' is no call sign"),
        ("cq!", "CQ!, not on the air now.", "'CQ!' is no call sign"),
    ],
)
async def test_hashed_calls_are_found_and_what_is_no_call_sign_is_told(
    word: str, head: str, because: str, tmp_path: Path
) -> None:
    async with live(tmp_path, CONFIG) as watch:
        await watch.take(*TALK)
    status, output = await asyncio.to_thread(asked, word, "--data", str(tmp_path))
    assert status == 0
    assert output.startswith(head)
    assert because in output


def test_an_empty_folder_says_that_nothing_was_watched(tmp_path: Path) -> None:
    status, output = asked("W1QSB", "--data", str(tmp_path))
    assert status == 1
    assert output.startswith("watchkeeper: ")
