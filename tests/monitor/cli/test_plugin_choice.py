"""Which plugins a watch starts, and how one that does not work is named: by commands and faces."""

from __future__ import annotations

import json
import time
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from tests.monitor.cli.daemon import Daemon, daemon, line_with, run, until

from watchkeeper.faces.console.frame import frame_lines
from watchkeeper.faces.console.theme import THEMES
from watchkeeper.faces.console.viewing import Viewing
from watchkeeper.faces.shown import to_snapshot, to_status
from watchkeeper.sender import Sender

BROKEN = """
from watchkeeper.api import hookimpl

class Broken:
    name = "broken"
    api = 1

    def __init__(self, config, context):
        pass

    @hookimpl
    def annotate(self):
        raise SystemExit("no thanks")
"""


def states(folder: Path) -> dict[str, str]:
    """The plugins of the watch on that folder, by what ``plugins --json`` says."""
    told = json.loads(run("plugins", "--json", "--data", str(folder)))
    assert told["daemon"] is True
    return {one["name"]: one["state"] for one in told["plugins"]}


def test_a_safe_start_runs_no_plugin_and_says_so(tmp_path: Path) -> None:
    with daemon(tmp_path, more=("--safe",)) as watch:
        found = states(tmp_path)
        assert found["lookout"] == "off"
        assert set(found.values()) == {"off"}
        assert "safe mode" in run("plugins", "--data", str(tmp_path)).decode()
        hear(watch)
        until(lambda: watch.ask("/api/snapshot")["period"], "it still hears")


def test_the_config_names_those_that_start(tmp_path: Path) -> None:
    with daemon(tmp_path, '[plugins]\nallow = ["worked", "reach"]\nblock = ["reach"]\n'):
        found = states(tmp_path)
        assert {name for name, state in found.items() if state == "running"} == {"worked"}
        told = run("plugins", "--data", str(tmp_path)).decode()
    assert "reach: off" in told
    assert "the config blocks it (plugins.block)" in told
    assert "the config does not allow it (plugins.allow)" in told


def hear(watch: Daemon) -> None:
    """A period with six stations."""
    sender = Sender("bench", watch.address)
    fields: dict[str, Any] = {"at": time.time() // 15 * 15 - 15, "mode": "FT8", "dial_hz": 14_074_000}
    for place in range(6):
        text = f"CQ CE{place}QRT FF46"
        sender.send("heard", offset_hz=500 + 100 * place, snr_db=-12, text=text, **fields)
    sender.send("period", count=6, final=True, **fields)
    sender.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "plugins"
    made.mkdir()
    (made / "broken.py").write_text(BROKEN)
    return made


def test_a_rested_plugin_is_named_with_its_origin_and_the_reason_on_every_face(tmp_path: Path, folder: Path) -> None:
    file = str(folder / "broken.py")
    reason = "annotate raised 5 times in a row, last SystemExit: no thanks"
    config = f'[plugins]\nfolder = "{folder}"\n'
    with daemon(tmp_path / "data", config, ("--page", "--page-port", "0")) as watch:
        data = str(watch.folder)
        hear(watch)
        until(lambda: states(watch.folder)["broken"] == "rested", "it is rested")
        status = watch.ask("/api/status")
        url = (watch.folder / "serve.txt").read_text().split("The live page: ", 1)[1].splitlines()[0]
        with urllib.request.urlopen(f"{url.partition('#')[0]}api/status") as answer:
            on_page = {one["name"]: one for one in json.load(answer)["plugins"]}["broken"]
        assert (on_page["state"], on_page["distribution"], on_page["reason"]) == ("rested", file, reason)
        sentence = f"plugin broken ({file}) rested: {reason}"
        line_with(f"P{sentence[1:]}", "attach", "--plain", "--data", data)
        assert f"P{sentence[1:]}" in run("status", "--data", data).decode()
        assert f"broken: rested ({file})" in run("plugins", "--data", data).decode()
        snapshot = watch.ask("/api/snapshot")
        assert sentence in drawn(snapshot, status)
        assert snapshot["rested"] == [{"plugin": "broken", "reason": reason}]
        (deliver,) = [one for one in status["plugins"] if one["name"] == "deliver"]
        assert deliver["metrics"].keys() == {"delivered_total", "failed_total"}


def drawn(snapshot: dict[str, Any], status: dict[str, Any]) -> str:
    """The dashboard on a wide terminal."""
    shown, now_ms = (to_snapshot(snapshot), to_status(status)), time.time_ns() // 1_000_000
    return "\n".join(line.plain for line in frame_lines(*shown, 400, 60, THEMES["dark"], now_ms, Viewing()))
