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
        self._joined: frozenset[int] = frozenset()
        refused = self.renew()
        if refused is not None and not self._joined:
            raise refused

    def renew(self) -> OSError | None:
        """Join on the interfaces that are new, or back: one that went took its membership along.

        Returns why one of them refused, if one did; it is tried again the next time.
        """
        found: set[int] = set()
        refused = None
        for index, _ in socket.if_nameindex():
            try:
                if index not in self._joined:
                    asked = struct.pack("=4s4xi", self._group.packed, index)
                    self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, asked)
                found.add(index)
            except OSError as error:
                refused = error
        self._joined = frozenset(found)
        return refused
