"""Opening the live page to a phone: on the addresses that this computer has, with a code that pairs one device.

Off unless asked for. The page speaks plain HTTP, as no certificate can be had in the field, so whoever shares the
network can read along; the pairing code goes over it once, and what the page may do is to mark hails.
"""

from __future__ import annotations

import contextlib
import fcntl
import ipaddress
import socket
import struct
from collections.abc import AsyncIterator, Iterator, Sequence
from dataclasses import dataclass

from aiohttp import web

from ..invitation import Invitation
from ..source import Source
from .app import make_app
from .guards import LOOPBACK_HOSTS, Access

PORT = 41816
LOOPBACK = "127.0.0.1"
_SIOCGIFADDR = 0x8915  # netdevice(7)


class PageError(Exception):
    """The page cannot be opened; the message says why."""


@dataclass(frozen=True, slots=True)
class OpenPage:
    """An open page: where it is, and the keys to it."""

    addresses: tuple[str, ...]
    port: int
    access: Access

    @property
    def urls(self) -> tuple[str, ...]:
        """Where a browser finds it, the address that a phone reaches first."""
        return tuple(f"http://{address}:{self.port}/" for address in self.addresses)

    @property
    def pairing_url(self) -> str:
        """The address that also pairs: the code stands behind the #, so that no server and no log sees it."""
        return f"{self.urls[0]}#pair={self.access.code}"


@contextlib.asynccontextmanager
async def open_page(
    source: Source, *, to_network: bool, port: int = PORT, addresses: Sequence[str] | None = None
) -> AsyncIterator[OpenPage]:
    """Serve the live page for as long as the context lasts: to this computer, and ``to_network`` to its neighbours.

    ``addresses`` replaces the IPv4 addresses found on this computer. Raises PageError.
    """
    found = list(addresses if addresses is not None else own_addresses()) if to_network else []
    if to_network and not found:
        raise PageError("this computer has no network address that a phone could reach: join or open a network first")
    listeners = _listeners([*found, LOOPBACK], port)
    bound = listeners[0].getsockname()[1]
    access = Access(reading_open=not to_network)
    app = make_app(source, allowed_hosts={*LOOPBACK_HOSTS, *found}, access=access, page=True)
    runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=1.0)
    try:
        await runner.setup()
        for listener in listeners:
            await web.SockSite(runner, listener).start()
        yield OpenPage(tuple(found or [LOOPBACK]), bound, access)
    finally:
        await runner.cleanup()
        for listener in listeners:
            listener.close()


def _listeners(addresses: Sequence[str], port: int) -> list[socket.socket]:
    listeners: list[socket.socket] = []
    for address in dict.fromkeys(addresses):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setblocking(False)
        listeners.append(listener)
        try:
            listener.bind((address, port))
            listener.listen()
        except OSError as error:
            for one in listeners:
                one.close()
            raise PageError(f"the page cannot listen on {address}:{port}: {error.strerror}") from error
        port = listener.getsockname()[1]  # the same on every address, also when any free one was asked for
    return listeners


def own_addresses() -> list[str]:
    """This computer's IPv4 addresses that others may reach, private ones first, in the order of its interfaces."""
    found = [address for address in _interface_addresses() if not ipaddress.ip_address(address).is_loopback]
    return sorted(dict.fromkeys(found), key=lambda address: not ipaddress.ip_address(address).is_private)


def _interface_addresses() -> Iterator[str]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):  # an interface without an IPv4 address
                request = struct.pack("256s", name.encode()[:15])
                yield socket.inet_ntoa(fcntl.ioctl(probe.fileno(), _SIOCGIFADDR, request)[20:24])


def invite(page: OpenPage) -> Invitation:
    """An invitation with a pairing code that still works: a new one where the last was used or has grown old."""
    code = page.access.code if page.access.code_works() else page.access.new_code()
    words = [
        f"The live page for a phone on the same network: {page.urls[0]}",
        f"Pairing code: {code[:4]}-{code[4:]} (works once, for ten minutes)",
        *(f"Also at {url}" for url in page.urls[1:]),
    ]
    return Invitation(tuple(words), tuple(qr_rows(page.pairing_url)))


def printed(invitation: Invitation) -> list[str]:
    """The invitation as lines for a terminal that knows colours."""
    return [*invitation.words, "", *(f"\x1b[30;107m{row}\x1b[0m" for row in invitation.qr)]


def qr_rows(text: str) -> list[str]:
    """``text`` as a QR code, two modules a character, with four modules of margin (ISO/IEC 18004)."""
    import segno

    matrix = [list(row) for row in segno.make(text, error="l", micro=False).matrix_iter(border=4)]
    if len(matrix) % 2:
        matrix.append([0] * len(matrix[0]))
    return [
        "".join(_BLOCKS[bool(a), bool(b)] for a, b in zip(upper, lower, strict=True))
        for upper, lower in zip(matrix[::2], matrix[1::2], strict=True)
    ]


#: (upper module dark, lower module dark) → character drawn in black on white
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
