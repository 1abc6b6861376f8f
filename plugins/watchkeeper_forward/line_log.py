"""UDP and TCP listeners: one datagram, or one line, a contact."""

from __future__ import annotations

import asyncio

from watchkeeper.api import Contact, Sending, SendResult

from .http_log import encode
from .settings import TcpLog, UdpLog


class UdpDestination:
    """Sends each contact as one datagram. That it left is all that can be known."""

    def __init__(self, log: UdpLog) -> None:
        self.name = log.name
        self._log = log

    def encode(self, contact: Contact) -> bytes:
        """The datagram."""
        return encode(contact, self._log.body).rstrip(b"\n")

    async def send(self, payload: bytes, key: str) -> Sending:
        """Send the datagram; counted as delivered once it left."""
        loop = asyncio.get_running_loop()
        try:
            transport, _ = await loop.create_datagram_endpoint(
                asyncio.DatagramProtocol, remote_addr=(self._log.host, self._log.port)
            )
        except OSError as error:
            return Sending(result=SendResult.TRY_LATER, why=str(error))
        transport.sendto(payload)
        transport.close()
        return Sending(result=SendResult.DELIVERED, why="sent by UDP: nobody tells whether it arrived")


class TcpDestination:
    """Sends each contact as one line over a connection of its own.

    That the other side closes after us shows that it read to the end. One that stays open is given the timeout, and
    then the line counts as delivered: sending it again would double it with a listener that never closes.
    """

    def __init__(self, log: TcpLog) -> None:
        self.name = log.name
        self._log = log

    def encode(self, contact: Contact) -> bytes:
        """The line."""
        return encode(contact, self._log.body).rstrip(b"\n") + b"\n"

    async def send(self, payload: bytes, key: str) -> Sending:
        """Send the line, and wait until the other side has closed."""
        try:
            async with asyncio.timeout(self._log.timeout_s):
                reader, writer = await asyncio.open_connection(self._log.host, self._log.port)
        except TimeoutError:
            return Sending(result=SendResult.TRY_LATER, why=f"no connection in {self._log.timeout_s:g} s")
        except OSError as error:
            return Sending(result=SendResult.TRY_LATER, why=str(error))
        try:
            async with asyncio.timeout(self._log.timeout_s):
                writer.write(payload)
                await writer.drain()
                writer.write_eof()
                while await reader.read(4096):
                    pass
        except TimeoutError:
            return Sending(result=SendResult.DELIVERED, why="the other side kept the connection open")
        except OSError as error:
            return Sending(result=SendResult.TRY_LATER, why=str(error))
        finally:
            writer.close()
        return Sending(result=SendResult.DELIVERED)
