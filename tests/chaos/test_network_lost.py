"""A network interface that goes and comes back under a real daemon: two hosts of our own and a cable between them.

Network namespaces take the rights that .ci/run has. The addresses are nobody's (RFC 5737), the group is of local scope
(RFC 2365, 6.1).
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest
from tests.benchmarks.daemon import Daemon, ready
from tests.chaos.test_bad_day import logged

from watchkeeper.intake.udp import RENEW_S

pytestmark = pytest.mark.long

PORT = 41_999
KEY = "a key of thirty-two bytes or more"
WATCH, SHACK, GROUP = "192.0.2.1", "192.0.2.2", "239.255.41.81"
#: the sender counts in a fast clock's seconds, so that its repeats come soon
SENDING = """
import sys, time
from datetime import datetime, timezone
from watchkeeper.sender import Sender

place, key = (sys.argv[1], int(sys.argv[2])), sys.argv[3].encode()
sender = Sender("shack", place, key=key, elapsed=lambda: time.monotonic() * 8)
now = datetime.now(timezone.utc)
for line in sys.stdin:
    sender.send(
        "contact", id="c" + line.strip(), call="W1QSB", mode="FT8", dial_hz=14_074_000, started_at=now, ended_at=now
    )
    sender.pump(0.2)
    print(len(sender.pending()), flush=True)
end = time.monotonic() + 60
while sender.pending() and time.monotonic() < end:
    sender.pump(0.1)
print(len(sender.pending()), flush=True)
"""


class Host:
    """A network of its own, held by a process that sleeps."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(["unshare", "--net", "sh", "-c", "echo up; exec sleep infinity"],
                                        stdout=subprocess.PIPE)  # fmt: skip
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == b"up\n"
        self.within = ["nsenter", "--target", str(self.process.pid), "--net"]
        self.ip("link set lo up")

    def ip(self, words: str) -> None:
        """Set an interface."""
        subprocess.run([*self.within, "ip", *words.split()], check=True)

    def start(self, command: Sequence[str], **more: object) -> subprocess.Popen[bytes]:
        """Run a program there."""
        return subprocess.Popen([*self.within, *command], **more)  # type: ignore[call-overload, no-any-return]


@contextlib.contextmanager
def two_hosts() -> Iterator[tuple[Host, Host]]:
    """The watch's host and the shack's."""
    with contextlib.ExitStack() as stack:
        hosts = []
        for _ in range(2):
            host = Host()
            stack.enter_context(host.process)
            stack.callback(host.process.kill)
            hosts.append(host)
        plug_in(*hosts)
        yield hosts[0], hosts[1]


def plug_in(watch: Host, shack: Host) -> None:
    """A cable from one to the other."""
    watch.ip(f"link add wk0 type veth peer name wk0 netns {shack.process.pid}")
    for host, address in ((watch, WATCH), (shack, SHACK)):
        host.ip(f"address add {address}/24 dev wk0")
        host.ip("link set wk0 up")
    shack.ip(f"route add {GROUP} dev wk0")


@contextlib.contextmanager
def watching(host: Host, folder: Path, address: str) -> Iterator[Daemon]:
    """A daemon on ``host`` that listens to ``address``."""
    (folder / "key").write_text(KEY, encoding="utf-8")
    config = folder / "network.toml"
    config.write_text(f'[listen]\naddress = "{address}"\nport = {PORT}\nseal_key_file = "{folder}/key"\n', "utf-8")
    command = [sys.executable, "-m", "watchkeeper", "serve", "--data", str(folder), "--config", str(config)]
    with (folder / "serve.log").open("wb") as log:
        process = host.start(command, stdout=log, stderr=log)
    try:
        daemon = Daemon(process, folder, PORT)
        ready(daemon)
        yield daemon
    finally:
        process.terminate()
        assert process.wait(60) == 0


class Shack:
    """The decoder's side: sends a contact for every number that it is told."""

    def __init__(self, host: Host, address: str) -> None:
        command = [sys.executable, "-c", SENDING, address, str(PORT), KEY]
        self._process = host.start(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._sent = 0

    def log(self, count: int = 1) -> int:
        """Send so many; how many lack their receipts then."""
        pending = 0
        for _ in range(count):
            self._sent += 1
            assert self._process.stdin is not None
            self._process.stdin.write(b"%d\n" % self._sent)
            self._process.stdin.flush()
            pending = self._answer()
        return pending

    def end(self) -> int:
        """Send no more, and wait for the receipts; how many never came."""
        assert self._process.stdin is not None
        with self._process:
            self._process.stdin.close()
            return self._answer()

    @property
    def sent(self) -> list[str]:
        """The identities of what was sent."""
        return [f"c{number}" for number in range(1, self._sent + 1)]

    def _answer(self) -> int:
        assert self._process.stdout is not None
        return int(self._process.stdout.readline())


def until(true: Callable[[], bool], seconds: float) -> None:
    """Try until it holds."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end


@pytest.mark.parametrize(("listens_to", "told"), [(WATCH, WATCH), (GROUP, GROUP), ("0.0.0.0", WATCH)])
def test_contacts_of_the_time_without_a_network_come_when_it_is_back(
    tmp_path: Path, listens_to: str, told: str
) -> None:
    with two_hosts() as (at_watch, at_shack), watching(at_watch, tmp_path, listens_to) as daemon:
        shack = Shack(at_shack, told)
        until(lambda: shack.log() == 0, 20)
        at_watch.ip("link set wk0 down")
        assert shack.log(3) >= 3
        at_watch.ip("link set wk0 up")
        until(lambda: shack.log() == 0, 20)

        at_watch.ip("link delete wk0")  # the adapter is pulled out, its address with it
        assert shack.log(3) >= 3
        assert daemon.process.poll() is None
        plug_in(at_watch, at_shack)
        assert shack.end() == 0, f"nothing came, {RENEW_S:g} s and more after the network was back"
    assert sorted(logged(tmp_path)) == sorted(shack.sent)
