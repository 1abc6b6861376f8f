"""What the config says of the broker. The password stands in a file or the environment, never here."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

#: one level of a topic: no separator, no wildcard (MQTT 5.0, section 4.7), nothing that is hard to type
_LEVEL = re.compile(r"[A-Za-z0-9._-]{1,64}")


class MqttConfig(msgspec.Struct, frozen=True, kw_only=True):
    """Which broker to tell; nothing is told while `host` is not set."""

    host: Annotated[str, Meta(min_length=1, max_length=253, description="the broker; off if absent")] | None = None
    port: Annotated[int, Meta(ge=1, le=65535, description="its port; 1883, or 8883 with TLS, if absent")] | None = None
    station: Annotated[str, Meta(description="what all topics begin with")] = "station"
    contacts: Annotated[bool, Meta(description="whether contacts go there too, through the outbox")] = True
    user: Annotated[str | None, Meta(description="user name")] = None
    password_file: Annotated[Path | None, Meta(description="file that holds the password")] = None
    password_env: Annotated[str | None, Meta(description="environment variable that holds the password")] = None
    tls: Annotated[bool, Meta(description="whether to use TLS; the broker's certificate is checked")] = False
    ca_file: Annotated[Path | None, Meta(description="certificates to trust instead of the system's")] = None

    def __post_init__(self) -> None:
        wrong = []
        if not _LEVEL.fullmatch(self.station):
            wrong.append(f"station: {self.station!r} is no single level of a topic (letters, digits, . _ -)")
        if self.password_file and self.password_env:
            wrong.append("password_file: give a file or an environment variable, not both")
        if (self.password_file or self.password_env) and self.user is None:
            wrong.append("user: a password needs a user name")
        if self.ca_file and not self.tls:
            wrong.append("ca_file: it is for tls = true")
        if wrong:
            raise ValueError("\n".join(wrong))

    def place(self) -> tuple[str, int]:
        """(host, port). Only where a host is set."""
        assert self.host is not None
        return self.host, self.port or (8883 if self.tls else 1883)

    def password(self) -> str | None:
        """The password as it stands now; None where none is configured. Raises OSError or ValueError without it."""
        if self.password_file is not None:
            found = self.password_file.read_text(encoding="utf-8").strip()
        elif self.password_env is not None:
            found = os.environ.get(self.password_env, "")
        else:
            return None
        if not found:
            raise ValueError(f"no password in {self.password_file or self.password_env}")
        return found
