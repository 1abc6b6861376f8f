"""What the config says of the destinations. Secrets stand in files or the environment, never here."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

import msgspec
from msgspec import Meta

Name = Annotated[str, Meta(min_length=1, max_length=40, description="what the operator reads: 'home log'")]
Host = Annotated[str, Meta(min_length=1, max_length=253, description="host name or IP address")]
Port = Annotated[int, Meta(ge=1, le=65535, description="port")]
Body = Literal["adif", "json"]
_TOKEN = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+")  # a field name of RFC 9110, 5.1
_SECRETS = frozenset({"authorization", "cookie", "proxy-authorization", "x-api-key", "api-key"})
_OURS = frozenset({"idempotency-key", "content-type", "content-length", "host", "transfer-encoding"})


class HttpLog(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A log that takes each contact by an HTTP POST."""

    name: Name
    url: Annotated[str, Meta(description="where to post, http:// or https://")]
    body: Annotated[Body, Meta(description="what to post: an ADIF record, or the contact as JSON")] = "adif"
    headers: Annotated[dict[str, str], Meta(description="further header fields, none of them secret")] = {}
    secret_header: Annotated[str, Meta(description="header field that carries the secret")] = "Authorization"  # noqa: S105
    secret_scheme: Annotated[str, Meta(description="word before the secret; empty for none")] = "Bearer"  # noqa: S105
    secret_file: Annotated[Path | None, Meta(description="file that holds the secret")] = None
    secret_env: Annotated[str | None, Meta(description="environment variable that holds the secret")] = None
    timeout_s: Annotated[float, Meta(gt=0, le=50, description="seconds that one try may take")] = 15.0

    def __post_init__(self) -> None:
        wrong = list(self._faults())
        if wrong:
            raise ValueError("\n".join(wrong))

    def _faults(self) -> Iterator[str]:
        try:
            parts = urlsplit(self.url)
            usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
        except ValueError:
            parts, usable = None, False
        if not usable:
            yield f"url: {self.url!r} is no http:// or https:// address"
        if parts is not None and (parts.username or parts.password):
            yield "url: it holds a user or a password: put the secret into secret_file or secret_env"
        for name in (*self.headers, self.secret_header):
            if not _TOKEN.fullmatch(name):
                yield f"headers: {name!r} is no name of a header field"
        for name, value in self.headers.items():
            if name.lower() in _SECRETS:
                yield f"headers: {name} carries a secret: use secret_header with secret_file or secret_env"
            if name.lower() in _OURS:
                yield f"headers: {name} is set by Watchkeeper"
            if not (value.isascii() and value.isprintable()):
                yield f"headers: the value of {name} is not printable ASCII"
        if self.secret_file and self.secret_env:
            yield "secret_file: give a file or an environment variable, not both"

    def secret(self) -> str | None:
        """The secret as it stands now; None where none is configured. Raises OSError or ValueError without it."""
        if self.secret_file is not None:
            secret = self.secret_file.read_text(encoding="utf-8").strip()
        elif self.secret_env is not None:
            secret = os.environ.get(self.secret_env, "").strip()
        else:
            return None
        if not secret or not (secret.isascii() and secret.isprintable()):
            raise ValueError(f"no usable secret in {self.secret_file or self.secret_env}")
        return secret


class UdpLog(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A listener that takes each contact as one UDP datagram. Best effort: nobody tells whether it arrived."""

    name: Name
    host: Host
    port: Port
    body: Annotated[Body, Meta(description="what to send: an ADIF record, or the contact as JSON")] = "adif"


class TcpLog(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A listener that takes each contact as one line over a TCP connection of its own."""

    name: Name
    host: Host
    port: Port
    body: Annotated[Body, Meta(description="what to send: an ADIF record, or the contact as JSON")] = "adif"
    timeout_s: Annotated[float, Meta(gt=0, le=50, description="seconds that one try may take")] = 10.0


class ForwardConfig(msgspec.Struct, frozen=True, kw_only=True):
    """Where contacts go."""

    file: Annotated[bool, Meta(description="whether to write ADIF files contacts-<date>.adi, one a UTC day")] = True
    folder: Annotated[Path | None, Meta(description="where to; `log` in the data folder if absent")] = None
    http: Annotated[tuple[HttpLog, ...], Meta(max_length=16, description="logs that take contacts by HTTP")] = ()
    udp: Annotated[tuple[UdpLog, ...], Meta(max_length=16, description="listeners for UDP datagrams")] = ()
    tcp: Annotated[tuple[TcpLog, ...], Meta(max_length=16, description="listeners for lines over TCP")] = ()

    def __post_init__(self) -> None:
        named = [("file", FILE_NAME)] if self.file else []
        for kind, logs in (("http", self.http), ("udp", self.udp), ("tcp", self.tcp)):
            named += [(kind, log.name) for log in logs]
        names = [name for _, name in named]
        doubled = [f"{kind}: {name!r} is the name of two destinations" for kind, name in named if names.count(name) > 1]
        if doubled:
            raise ValueError("\n".join(doubled[1:]))


#: the name of the ADIF file among the destinations
FILE_NAME = "ADIF file"
