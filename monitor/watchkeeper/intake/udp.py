"""Events from UDP: a non-blocking socket, drained in batches on the event loop.

An asyncio datagram protocol costs ten times as much per datagram, and a stall of the loop then loses some.
"""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import os
import socket
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from ..schema.events import MAX_DATAGRAM, AnyEvent, Contact, Receipt, to_ms
from ..schema.wire import Decoded, Reason, Refusal, decode, encode, refusal_of
from .arrival import Arrival, Peer
from .counters import Counters
from .multicast import Membership
from .seal import MARK, Seal, SealError

BUFFER_BYTES = 4 * 1024 * 1024
#: an ``at`` further ahead of the host's clock is refused: it would drag the event clock along
MAX_AHEAD_MS = 60_000
#: datagrams taken in one turn of the loop, so that a flood leaves time for everything else
BATCH = 256
_SEAL_BYTES = 256
#: how often a multicast group is joined on the interfaces that have come since
RENEW_S = 5.0


class IntakeError(Exception):
    """The intake cannot stand where it was told to; the text says why."""


class UdpIntake:
    """Receives datagrams from any number of senders, or of an IPv4 multicast group, and delivers what is valid.

    ``clock`` gives the host's time in milliseconds since 1970-01-01 UTC. ``deliver`` is called on the loop with
    the arrivals of one batch. ``watcher`` sees every datagram with what became of it, for showing the traffic.
    """

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        address: str,
        port: int,
        deliver: Callable[[list[Arrival]], None],
        clock: Callable[[], int],
        seal: Seal | None = None,
        watcher: Callable[[Peer, bytes, Decoded], None] | None = None,
    ) -> None:
        self.counters = Counters()
        self._loop = loop
        self._deliver = deliver
        self._clock = clock
        self._seal = seal
        self._watcher = watcher
        self._socket, self._membership = _bind(address, port, sealed=seal is not None)
        self._renewing: asyncio.TimerHandle | None = None
        self.buffer_bytes = _enlarge(self._socket)
        self._started = False

    @property
    def address(self) -> tuple[str, int]:
        """Where it is bound: with port 0, the port that was found."""
        name: tuple[Any, ...] = self._socket.getsockname()
        return name[0], name[1]

    @property
    def warning(self) -> str | None:
        """What the operator should know about the receive buffer, or None."""
        if self.buffer_bytes >= BUFFER_BYTES:
            return None
        return (
            f"the system grants a receive buffer of {self.buffer_bytes // 1024} KiB instead of "
            f"{BUFFER_BYTES // 1024} KiB: a burst may lose datagrams (sysctl net.core.rmem_max={BUFFER_BYTES})"
        )

    def start(self) -> None:
        """Ready from here on: what arrived since the socket was bound is delivered first."""
        self._loop.add_reader(self._socket, self._drain)
        self._started = True
        if self._membership is not None:
            self._renew(self._membership)

    def stop(self) -> None:
        """Deliver what the kernel still holds, then close. May be called twice."""
        if self._started:
            self._started = False
            self._loop.remove_reader(self._socket)
            if self._renewing is not None:
                self._renewing.cancel()
            while self._drain():
                pass
        self._socket.close()

    def kernel_drops(self) -> int:
        """Datagrams that the kernel dropped because the buffer was full; 0 where the system does not tell."""
        return _kernel_drops(self._socket)

    def reseal(self, seal: Seal | None) -> None:
        """Take what another key has sealed from now on, or, on a loopback address, what nobody has (None)."""
        self._seal = seal

    def send_receipt(self, peer: Peer, receipt: Receipt) -> None:
        """Send a receipt. It may get lost: the sender then repeats its event and is told again."""
        if peer is None:
            return
        body = encode(receipt)
        try:
            self._socket.sendto(self._seal.close(body, self._clock()) if self._seal else body, peer)
        except OSError:
            return  # the peer is gone or the buffer full; the repeat will ask again

    def _renew(self, membership: Membership) -> None:
        membership.renew()
        self._renewing = self._loop.call_later(RENEW_S, self._renew, membership)

    def _drain(self) -> bool:
        """Take up to a batch of datagrams; whether there may be more."""
        arrivals: list[Arrival] = []
        more = True
        for _ in range(BATCH):
            try:
                datagram, peer = self._socket.recvfrom(MAX_DATAGRAM + _SEAL_BYTES)
            except ConnectionError:
                continue  # word that an earlier receipt found nobody: nothing was received, nothing is lost
            except OSError:  # BlockingIOError: the buffer is empty
                more = False
                break
            self._take(datagram, peer, arrivals)
        if arrivals:
            self._deliver(arrivals)
        return more

    def _take(self, datagram: bytes, peer: Peer, arrivals: list[Arrival]) -> None:
        now_ms = self._clock()
        decoded = self._decode(datagram, now_ms)
        counters = self.counters
        counters.datagrams += 1
        came_before = counters.accept(decoded.events)
        if decoded.refusals:
            counters.refused_datagrams += not decoded.events
            counters.reject(decoded.refusals)
            self._tell_refused(peer, decoded.refusals)
        for event in decoded.events:
            if came_before and event in came_before and not isinstance(event, Contact):
                self._tell_repeated(peer, event)
            else:
                arrivals.append(Arrival(event, peer, now_ms))
        if self._watcher is not None:
            self._watcher(peer, datagram, decoded)

    def _decode(self, datagram: bytes, now_ms: int) -> Decoded:
        if self._seal is not None:
            try:
                datagram = self._seal.open(datagram, now_ms)
            except SealError as error:
                return Decoded((), (Refusal(error.reason, str(error)),))
        elif datagram.startswith(MARK + b" "):
            return Decoded(
                (), (Refusal(Reason.BAD_SEAL, "sealed, but here is no key to open it (listen.seal_key_file)"),)
            )
        return _refuse_ahead(decode(datagram), now_ms)

    def _tell_repeated(self, peer: Peer, event: AnyEvent) -> None:
        """An event that the network doubled goes no further; a repeat asks for the receipt that got lost.

        A contact does go on: what became of it only the log knows.
        """
        if event.ack and event.id is not None:
            self.send_receipt(peer, Receipt(v=1, source=event.source, of=event.id, status="repeated"))

    def _tell_refused(self, peer: Peer, refusals: Sequence[Refusal]) -> None:
        """A sender that asked for a receipt would repeat for ever if nobody told it.

        One whose clock is ahead is not told: its repeat is good once this clock has caught up.
        """
        for refusal in refusals:
            if refusal.of is not None and refusal.source is not None and refusal.reason is not Reason.AHEAD:
                receipt = Receipt(v=1, source=refusal.source, of=refusal.of, status="refused", why=refusal.why[:200])
                self.send_receipt(peer, receipt)


def _refuse_ahead(decoded: Decoded, now_ms: int) -> Decoded:
    limit_ms = now_ms + MAX_AHEAD_MS
    for event in decoded.events:
        if to_ms(event.at) > limit_ms:
            return _split_ahead(decoded, now_ms)
    return decoded


def _split_ahead(decoded: Decoded, now_ms: int) -> Decoded:
    events: list[AnyEvent] = []
    refusals = list(decoded.refusals)
    for event in decoded.events:
        ahead_ms = event.at_ms - now_ms
        if ahead_ms <= MAX_AHEAD_MS:
            events.append(event)
        else:
            why = f"at is {ahead_ms / 1000:.0f} s ahead of this host's clock"
            refusals.append(refusal_of(event, Reason.AHEAD, why, "at"))
    return Decoded(events, refusals)


def _bind(address: str, port: int, *, sealed: bool) -> tuple[socket.socket, Membership | None]:
    """The socket, and its membership where ``address`` is a group's. Raises IntakeError."""
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        raise IntakeError(f"{address!r} is not an IP address") from None
    if not ip.is_loopback and not sealed:
        raise IntakeError(f"{address} can be reached by others: the intake stands there only with a key (seal)")
    if ip.version == 6 and ip.is_multicast:
        raise IntakeError(f"{address}: of multicast groups only those of IPv4 can be joined")
    family = socket.AF_INET if ip.version == 4 else socket.AF_INET6
    sock = socket.socket(family, socket.SOCK_DGRAM)
    sock.setblocking(False)
    membership = None
    try:
        sock.bind((address, port))
        if isinstance(ip, ipaddress.IPv4Address) and ip.is_multicast:
            membership = Membership(sock, ip)
    except OSError as error:
        sock.close()
        raise IntakeError(_why_not_bound(address, port, error)) from error
    return sock, membership


def _why_not_bound(address: str, port: int, error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"UDP port {port} on {address} is taken: another watch may be standing there"
    return f"cannot listen on UDP port {port} of {address}: {error.strerror}"


def _enlarge(sock: socket.socket) -> int:
    """Ask for a large receive buffer; what was granted, in bytes. Linux reports twice what it counts as payload."""
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
    granted = sock.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)
    return granted // 2 if os.uname().sysname == "Linux" else granted


def _kernel_drops(sock: socket.socket) -> int:
    """The ``drops`` column of Linux's socket table (Documentation/networking/proc_net_udp in the kernel's tree)."""
    table = Path("/proc/net/udp" if sock.family == socket.AF_INET else "/proc/net/udp6")
    try:
        inode = str(os.fstat(sock.fileno()).st_ino)
        rows = [line.split() for line in table.read_text().splitlines()[1:]]
    except OSError:
        return 0
    return next((int(row[-1]) for row in rows if len(row) > 10 and row[9] == inode), 0)
