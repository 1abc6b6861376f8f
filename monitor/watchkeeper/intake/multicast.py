"""Membership of an IPv4 multicast group on every interface there is, and on those that come."""

from __future__ import annotations

import ipaddress
import socket
import struct


class Membership:
    """Has ``sock`` listen to ``group`` on every interface that can: a portable station changes between them.

    Raises OSError where no interface can.
    """

    def __init__(self, sock: socket.socket, group: ipaddress.IPv4Address) -> None:
        self._socket = sock
        self._group = group
        self._joined: set[int] = set()
        refused = self.renew()
        if refused is not None and not self._joined:
            raise refused

    def renew(self) -> OSError | None:
        """Join on the interfaces that are new, or back, and leave those that went: the system counts them otherwise.

        Returns why it was refused, if it was; it is tried again the next time.
        """
        try:
            there = {index for index, _ in socket.if_nameindex()}
        except OSError as error:
            return error
        for index in self._joined - there:
            self._ask(socket.IP_DROP_MEMBERSHIP, index)
        self._joined &= there
        refused = None
        for index in sorted(there - self._joined):
            why = self._ask(socket.IP_ADD_MEMBERSHIP, index)
            if why is None:
                self._joined.add(index)
            refused = why or refused
        return refused

    def _ask(self, what: int, index: int) -> OSError | None:
        try:
            self._socket.setsockopt(socket.IPPROTO_IP, what, struct.pack("=4s4xi", self._group.packed, index))
        except OSError as error:
            return error
        return None
