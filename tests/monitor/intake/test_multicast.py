"""Membership of a multicast group while interfaces come and go."""

from __future__ import annotations

import errno
import ipaddress
import socket
import struct

import pytest

from watchkeeper.intake.multicast import Membership

GROUP = ipaddress.IPv4Address("239.255.41.81")  # RFC 2365, 6.1: of local scope


class Recorded(socket.socket):
    """Takes requests as the system does: joining twice is refused, and so are more memberships than it allows."""

    most = 3

    def __init__(self) -> None:
        super().__init__(socket.AF_INET, socket.SOCK_DGRAM)
        self.member: set[int] = set()

    def setsockopt(self, *request: object) -> None:
        """Join or leave."""
        _, what, value = request
        assert isinstance(value, bytes)
        group, index = struct.unpack("=4s4xi", value)
        assert group == GROUP.packed
        if what == socket.IP_DROP_MEMBERSHIP:
            self.member.remove(index)
        elif index in self.member:
            raise OSError(errno.EADDRINUSE, "joined by now")
        elif len(self.member) == self.most:
            raise OSError(errno.ENOBUFS, "no more")
        else:
            self.member.add(index)


@pytest.fixture
def interfaces(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, str]]:
    there = [(1, "lo")]
    monkeypatch.setattr(socket, "if_nameindex", lambda: list(there))
    return there


def test_an_adapter_that_is_pulled_out_again_and_again_is_joined_each_time(interfaces: list[tuple[int, str]]) -> None:
    with Recorded() as sock:
        membership = Membership(sock, GROUP)
        for index in (2, 3, 3, 4, 5, 6, 7):
            interfaces.append((index, "wk0"))
            assert membership.renew() is None
            assert sock.member == {1, index}
            interfaces.pop()
            assert membership.renew() is None
        assert sock.member == {1}


def test_what_is_refused_is_told_and_tried_again(interfaces: list[tuple[int, str]]) -> None:
    interfaces += [(2, "wk0"), (3, "wk1"), (4, "wk2")]
    with Recorded() as sock:
        membership = Membership(sock, GROUP)
        refused = membership.renew()
        assert refused is not None
        assert refused.errno == errno.ENOBUFS
        del interfaces[1]
        assert membership.renew() is None
        assert sock.member == {1, 3, 4}


def test_where_no_interface_can_the_group_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Recorded, "most", 0)
    with Recorded() as sock, pytest.raises(OSError, match="no more"):
        Membership(sock, GROUP)
