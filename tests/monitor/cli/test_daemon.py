"""The daemon as a process: ready, asked, reloaded, ended, with nothing lost. Real sockets and signals."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from watchkeeper.cli.exits import Exit
from watchkeeper.faces.source import ask
from watchkeeper.sender import Sender
from watchkeeper.store.database import reading

PATIENCE_S = 20.0


class Daemon:
    """A ``watchkeeper serve`` that is ready."""

    def __init__(self, folder: Path, config: Path, notify: Path) -> None:
        self.folder = folder
        self.messages = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.messages.bind(str(notify))
        self.messages.settimeout(PATIENCE_S)
        environ = {key: value for key, value in os.environ.items() if not key.startswith("WATCHKEEPER_")}
        environ["NOTIFY_SOCKET"] = str(notify)
        self.process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "watchkeeper",
                "serve",
                "--data",
                str(folder),
                "--config",
                str(config),
                "--port",
                "0",
            ],
            stdin=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env=environ,
        )
        self.wait_for("READY=1")

    def wait_for(self, message: str) -> str:
        """The first message that begins so."""
        while True:
            told = self.messages.recv(4096).decode()
            if told.startswith(message):
                return told

    def status(self) -> dict[str, Any]:
        return ask(self.folder / "watch.sock", "/api/status")

    @property
    def address(self) -> tuple[str, int]:
        host, _, port = str(self.status()["listening"]).rpartition(":")
        return host, int(port)

    def end(self) -> tuple[int, float, list[dict[str, Any]]]:
        """Its exit code, the seconds that its end took, and its log."""
        begun = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        _, err = self.process.communicate(timeout=PATIENCE_S)
        return self.process.returncode, time.monotonic() - begun, [json.loads(line) for line in err.splitlines()]


@contextmanager
def daemon(tmp_path: Path, config: str) -> Iterator[Daemon]:
    path = tmp_path / "watchkeeper.toml"
    path.write_text(config)
    made = Daemon(tmp_path / "data", path, tmp_path / "notify")
    try:
        yield made
    finally:
        made.messages.close()
        if made.process.poll() is None:
            made.process.kill()
            made.process.communicate()


def log_contacts(sender: Sender, first: int, count: int) -> None:
    for number in range(first, first + count):
        now = time.time()
        sender.send(
            "contact",
            id=f"c-{number}",
            call=f"DL{number % 10}QR{chr(65 + number // 10 % 26)}",
            started_at=sender_time(now - 60),
            ended_at=sender_time(now),
            dial_hz=14_074_000,
            mode="FT8",
        )


def sender_time(seconds: float) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(seconds))


def ids_in(folder: Path) -> set[str]:
    with reading(folder) as db:
        return {str(key).rpartition("|")[2] for (key,) in db.execute("SELECT key FROM contact")}


def test_sigterm_ends_in_under_two_seconds_and_what_was_acknowledged_is_in_the_log(tmp_path: Path) -> None:
    # a log that takes the connection and never answers: the end must not wait for it
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"http://127.0.0.1:{silent.getsockname()[1]}/"
        config = f'[station]\ncall = "DL5QRM"\n[[plugins.forward.http]]\nname = "home log"\nurl = "{url}"\n'
        with daemon(tmp_path, config) as running:
            sender = Sender("decoder", running.address)
            log_contacts(sender, 0, 40)
            sender.pump(PATIENCE_S)
            log_contacts(sender, 40, 20)  # on their way while the signal comes
            code, took_s, lines = running.end()
            pending = set(sender.close(0.2))
            stopping = running.wait_for("STOPPING=1")
    assert (code, stopping) == (Exit.DONE, "STOPPING=1")
    assert took_s < 2.0
    acknowledged = {receipt["of"] for receipt in sender.receipts if receipt["status"] in ("stored", "repeated")}
    assert len(acknowledged) >= 40
    assert acknowledged | pending == {f"c-{number}" for number in range(60)}
    assert acknowledged <= ids_in(tmp_path / "data")
    assert lines[-1]["message"] == "ended in good order"
    assert {"at", "level", "logger", "message"} <= set(lines[0])


def test_a_bad_file_leaves_the_old_config_serving_and_a_good_one_goes_in(tmp_path: Path) -> None:
    with daemon(tmp_path, '[station]\ncall = "DL5QRM"\npower_w = 10\n') as running:
        config = tmp_path / "watchkeeper.toml"

        def reload(text: str) -> dict[str, Any]:
            config.write_text(text)
            running.process.send_signal(signal.SIGHUP)
            assert "MONOTONIC_USEC=" in running.wait_for("RELOADING=1")
            running.wait_for("READY=1")
            return running.status()

        def own() -> dict[str, Any]:
            found: dict[str, Any] = ask(running.folder / "watch.sock", "/api/snapshot")["own"]
            return found

        status = reload('[station]\ncall = "?"\n[plugins.lookuot]\n')
        assert (own()["call"], own()["power_w"]) == ("DL5QRM", 10)
        assert (status["reloads"]["done"], status["reloads"]["refused"]) == (0, 1)
        assert "station.call: '?' is no call sign" in status["reloads"]["why"]
        assert any("stays in force" in notice and "station.call" in notice for notice in status["notices"])
        status = reload('[station]\ncall = "DL5QRM"\n[plugins.lookuot]\n')
        assert "no plugin 'lookuot' is installed" in status["reloads"]["why"]
        status = reload(f'[station]\ncall = "DL5QRM"\n[log]\nfolder = "{tmp_path}/elsewhere"\n')
        assert status["reloads"]["why"] is None, "--data outweighs it"

        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind(("127.0.0.1", 0))
            sender = Sender("decoder", running.address)
            status = reload('[station]\ncall = "DL5QRM"\npower_w = 5\n[plugins]\nblock = ["openings"]\n')
            assert status["reloads"] == {"done": 2, "refused": 2, "why": None}
            assert not any("stays in force" in notice for notice in status["notices"])
            assert own()["power_w"] == 5
            assert {"openings"} == {one["name"] for one in status["plugins"] if "blocks it" in (one["reason"] or "")}
            log_contacts(sender, 0, 1)
            sender.pump(PATIENCE_S)
            assert [receipt["status"] for receipt in sender.receipts] == ["stored"]
            sender.close()
        code, _, lines = running.end()
    assert code == Exit.DONE
    assert sum(line["level"] == "warning" and "was refused" in line["message"] for line in lines) == 2


@pytest.mark.parametrize(
    ("config", "code", "words"),
    [
        ("[station]\ncall = '?'", Exit.CONFIG, "is no call sign"),
        ("[listen]\nseal_key_file = '/no/key'", Exit.CONFIG, "key"),
    ],
)
def test_a_daemon_that_cannot_start_says_why(tmp_path: Path, config: str, code: Exit, words: str) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(config)
    ran = serve("--data", str(tmp_path / "data"), "--config", str(path), "--port", "0")
    assert ran.returncode == code
    assert words in ran.stderr


def test_a_second_watch_on_the_same_folder_or_port_is_told_apart_from_a_failure(tmp_path: Path) -> None:
    with daemon(tmp_path, "") as running:
        held = serve("--data", str(running.folder), "--port", "0")
        assert (held.returncode, f"process {running.process.pid}" in held.stderr) == (Exit.HELD, True)
        taken = serve("--data", str(tmp_path / "other"), "--port", str(running.address[1]))
        assert (taken.returncode, "another watch may be standing there" in taken.stderr) == (Exit.HELD, True)


def serve(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "watchkeeper", "serve", *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_S,
    )


def test_dump_shows_what_arrives_and_why_it_is_refused(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "watchkeeper", "watch", "--dump", "--data", str(tmp_path), "--port", "0"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stderr is not None
        place = json.loads(process.stderr.readline())["message"].split()[2].rstrip(",")
        host, _, port = place.rpartition(":")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            out.connect((host, int(port)))
            out.send(b'{"v":1,"kind":"farewell","source":"decoder","at":"2026-05-01T18:00:00.000Z"}')
            out.send(b'{"v":1,"kind":"heard","source":"\\u001b[2Jdecoder","at":"now"}')
        lines = [process.stdout.readline() for _ in range(3)]
        process.terminate()
        assert process.wait(PATIENCE_S) == Exit.DONE
    finally:
        process.kill()
        process.communicate()
    assert " farewell " in lines[0]
    assert "REFUSED" in lines[1]
    assert all(line.rstrip("\n").isprintable() for line in lines)
