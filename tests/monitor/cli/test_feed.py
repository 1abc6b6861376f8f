"""``watchkeeper feed`` as a process of its own, against a watch that is a bare socket."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from threading import Condition, Thread
from typing import Any

import pytest

from watchkeeper.schema.wire import decode
from watchkeeper.sender.send import unseal

PATTERNS = Path(__file__).parents[3] / "configs" / "patterns"
LINE = 'at=2026-05-01T12:{:02}:{:02}Z dial=14.074 off=1520 snr=-12 mode=FT8 msg="CQ DL5QRM JO62"\n'
LINES = [LINE.format(number // 4, number % 4 * 15) for number in range(200)]


class Watch(Thread):
    """Takes what comes and answers what asks, in a thread, as a watch would."""

    def __init__(self, status: str = "stored") -> None:
        super().__init__(daemon=True)
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.events: list[Any] = []
        self._came = Condition()
        self._status = status

    @property
    def place(self) -> str:
        host, port = self.socket.getsockname()
        return f"{host}:{port}"

    def run(self) -> None:
        while True:
            datagram, peer = self.socket.recvfrom(10_000)
            if not datagram:
                return
            decoded = decode(datagram)
            assert not decoded.refusals
            with self._came:
                self.events += decoded.events
                self._came.notify()
            for event in decoded.events:
                if event.ack:
                    receipt = {
                        "v": 1,
                        "kind": "receipt",
                        "source": event.source,
                        "of": event.id,
                        "status": self._status,
                    }
                    self.socket.sendto(json.dumps(receipt).encode(), peer)

    def has(self, count: int, within_s: float) -> bool:
        with self._came:
            return self._came.wait_for(lambda: len(self.events) >= count, within_s)

    def await_events(self, count: int) -> list[Any]:
        assert self.has(count, within_s=10), f"{len(self.events)} of {count} events came"
        return self.events

    def end(self) -> None:
        self.socket.sendto(b"", self.socket.getsockname())
        self.join()
        self.socket.close()


@pytest.fixture
def watch() -> Iterator[Watch]:
    watch = Watch()
    watch.start()
    yield watch
    watch.end()


def feed(*arguments: str | Path) -> list[str]:
    return [sys.executable, "-c", "from watchkeeper.cli import main; main()", "feed", *map(str, arguments)]


def run(*arguments: str | Path, text: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(feed(*arguments), input=text, capture_output=True, text=True, timeout=30, check=False)


def test_a_file_goes_out_and_is_accounted_for(watch: Watch, tmp_path: Path) -> None:
    file = tmp_path / "decodes.txt"
    file.write_text("".join(LINES[:5]) + "nonsense\n" + "# a remark\n" + LINES[5].rstrip("\n"))
    done = run("--pattern", PATTERNS / "keyvalue.toml", "--to", watch.place, "--source", "mine", file, "--json")
    assert done.returncode == 0, done.stderr
    summary = json.loads(done.stdout)
    assert summary["examples"] == [{"line": 6, "why": "no pattern fits", "text": "nonsense"}]
    assert {**summary, "examples": []} == {
        "lines": 8,
        "matched": 6,
        "skipped": 1,
        "unmatched": 1,
        "sent": 6,
        "refused": 0,
        "confirmed": True,
        "examples": [],
    }
    assert "line 6: no pattern fits: nonsense" in done.stderr
    events = watch.await_events(6)
    assert [event.seq for event in events] == [1, 2, 3, 4, 5, 6]
    assert {(event.source, event.kind, event.live) for event in events} == {("mine", "heard", True)}


def test_standard_input_and_what_the_lines_leave_out(watch: Watch) -> None:
    line = "12:00:15 A -12 dB 1520 Hz > CQ DL5QRM JO62\n"
    settings = ("--set", "dial_hz=7074000", "--date", "2026-05-01", "--recorded")
    done = run("--pattern", PATTERNS / "words.toml", "--to", watch.place, *settings, text=line * 3)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "3 lines: 3 read, 0 passed over, 0 not read; 3 sent, 0 refused\n"
    assert {(event.dial_hz, event.live) for event in watch.await_events(3)} == {(7_074_000, False)}


def test_a_growing_file_is_followed_across_rotation_and_truncation(watch: Watch, tmp_path: Path) -> None:
    file = tmp_path / "decodes.txt"
    file.write_text(LINES[0])
    command = feed("--pattern", PATTERNS / "keyvalue.toml", "--to", watch.place, "--follow", "--json", file)
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        watch.await_events(1)
        with file.open("a") as stream:
            stream.write(LINES[1] + LINES[2][:20])
        watch.await_events(2)
        with file.open("a") as stream:
            stream.write(LINES[2][20:])
        watch.await_events(3)
        file.rename(tmp_path / "decodes.1")
        file.write_text(LINES[3] + LINES[4])
        watch.await_events(5)
        file.write_text(LINES[5])
        watch.await_events(6)
        process.send_signal(signal.SIGTERM)
        output, _ = process.communicate(timeout=10)
    assert process.returncode == 0
    assert json.loads(output)["sent"] == 6
    assert [event.at.second for event in watch.events] == [0, 15, 30, 45, 0, 15]


def test_new_only_passes_over_what_the_file_holds(watch: Watch, tmp_path: Path) -> None:
    file = tmp_path / "decodes.txt"
    file.write_text("".join(LINES[:3]))
    options = ("--to", watch.place, "--follow", "--new-only", "--json")
    in_background = ("sh", "-c", 'trap "" INT; exec "$@"', "sh")  # as a script's background job it ends on SIGINT too
    command = [*in_background, *feed("--pattern", PATTERNS / "keyvalue.toml", *options, file)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        for line in LINES[3:]:  # it passes over what stands there when it gets round to it
            with file.open("a") as stream:
                stream.write(line)
            if watch.has(1, within_s=0.05):
                break
        first = watch.await_events(1)[0]
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=10)
    assert (first.at.minute, first.at.second) not in [(0, 0), (0, 15), (0, 30)]


def test_a_large_file_never_runs_far_ahead_of_the_watch(watch: Watch, tmp_path: Path) -> None:
    file = tmp_path / "decodes.txt"
    file.write_text("".join(LINES * 10))
    done = run("--pattern", PATTERNS / "keyvalue.toml", "--to", watch.place, "--json", file)
    assert json.loads(done.stdout)["confirmed"] is True
    assert [event.seq for event in watch.await_events(2000)] == list(range(1, 2001))


def test_lines_travel_sealed(tmp_path: Path) -> None:
    key = tmp_path / "key"
    key.write_text("a key of the bench, 32 bytes ...\n")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taker:
        taker.bind(("127.0.0.1", 0))
        taker.settimeout(10)
        place = f"127.0.0.1:{taker.getsockname()[1]}"
        done = run("--pattern", PATTERNS / "keyvalue.toml", "--to", place, "--key-file", key, text=LINES[0])
        assert done.returncode == 0, done.stderr
        sealed = taker.recv(10_000)
    opened = unseal(sealed, b"a key of the bench, 32 bytes ...")
    assert opened is not None
    assert len(decode(opened).events) == 1


def test_nobody_there_is_said_and_is_no_fault_of_the_lines(tmp_path: Path) -> None:
    file = tmp_path / "decodes.txt"
    file.write_text(LINES[0])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    done = run("--pattern", PATTERNS / "keyvalue.toml", "--to", f"127.0.0.1:{port}", "--json", file)
    assert done.returncode == 0
    assert json.loads(done.stdout)["confirmed"] is False
    assert f"nobody at 127.0.0.1 port {port} confirmed: is a watch standing there?" in done.stderr


def test_refusals_of_the_watch_are_counted(tmp_path: Path) -> None:
    watch = Watch(status="refused")
    watch.start()
    file = tmp_path / "decodes.txt"
    file.write_text(LINES[0])
    done = run("--pattern", PATTERNS / "keyvalue.toml", "--to", watch.place, "--json", file)
    watch.end()
    assert json.loads(done.stdout)["refused"] == 1


def test_a_pattern_that_never_ends_is_stopped_line_by_line(watch: Watch, tmp_path: Path) -> None:
    pattern = tmp_path / "slow.toml"
    pattern.write_text(
        "title = 'slow'\nvalues = { mode = 'FT8', dial_hz = 14074000, offset_hz = 1, snr_db = -3 }\n"
        "[[lines]]\npattern = '(?P<text>(x+)+)'\n"
    )
    done = run("--pattern", pattern, "--to", watch.place, "--json", text="x" * 60 + "!\nxxx\n")
    summary = json.loads(done.stdout)
    assert summary["sent"] == 1
    assert summary["examples"][0]["why"] == "the pattern took longer than 0.25 s over it"


def test_what_came_off_the_air_does_not_command_the_terminal(watch: Watch) -> None:
    done = run("--pattern", PATTERNS / "keyvalue.toml", "--to", watch.place, text=LINES[0] + "\x1b[2J\u202egone\n")
    assert "line 2: no pattern fits: gone\n" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["--pattern", "gone.toml"], "gone.toml: No such file or directory"),
        (["--pattern", PATTERNS / "words.toml", "--to", "here:there"], "'there' is no port"),
        (["--pattern", PATTERNS / "words.toml", "--source", "my decoder"], "'my decoder': 1 to 32 of"),
        (["--pattern", PATTERNS / "words.toml", "--set", "dial_hz"], "as FIELD=VALUE"),
        (
            ["--pattern", PATTERNS / "words.toml", "--set", "dail_hz=1"],
            "no such field of these kinds (did you mean 'dial_hz'?)",
        ),
        (["--pattern", PATTERNS / "words.toml", "--key-file", "gone"], "cannot read the key file gone"),
        (["--pattern", PATTERNS / "words.toml", "gone.txt"], "gone.txt: No such file or directory"),
        (["--pattern", PATTERNS / "words.toml", "-"], "no line could be read by this pattern"),
    ],
)
def test_what_cannot_work_is_one_clear_error(arguments: list[str | Path], complaint: str) -> None:
    done = run(*arguments, text="nonsense\n")
    assert done.returncode != 0
    assert complaint in done.stderr
    assert "Traceback" not in done.stderr
