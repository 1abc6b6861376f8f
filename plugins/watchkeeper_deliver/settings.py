"""The ways to the operator, and how urgent a hail must be for each."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from watchkeeper.api import Urgency

Level = Literal["note", "wanted", "urgent"]
LEVELS = {"note": Urgency.NOTE, "wanted": Urgency.WANTED, "urgent": Urgency.URGENT}
_HEADER = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]+")


class Webhook(msgspec.Struct, frozen=True, kw_only=True):
    """Where hails are posted to, as JSON."""

    name: Annotated[str, Meta(min_length=1, max_length=40, description="what the operator reads: 'telephone'")]
    url: Annotated[str, Meta(description="where to post, http:// or https://")]
    least: Annotated[Level, Meta(description="the least urgency: note, wanted or urgent")] = "wanted"
    secret_header: Annotated[str, Meta(description="header field that carries the secret")] = "Authorization"  # noqa: S105
    secret_file: Annotated[Path, Meta(description="file that holds the secret")] | None = None
    secret_env: Annotated[str, Meta(description="environment variable that holds the secret")] | None = None
    timeout_s: Annotated[float, Meta(gt=0, le=25, description="seconds that one try may take")] = 10.0

    def __post_init__(self) -> None:
        if not self.url.startswith(("http://", "https://")):
            raise ValueError(f"url: {self.url!r} is neither http:// nor https://")
        if not _HEADER.fullmatch(self.secret_header):
            raise ValueError(f"secret_header: {self.secret_header!r} is no name of a header field")
        if self.secret_file is not None and self.secret_env is not None:
            raise ValueError("secret_file and secret_env: give one of the two, not both")

    def secret(self) -> str | None:
        """The secret now. Raises OSError or LookupError where it cannot be had."""
        if self.secret_file is not None:
            return self.secret_file.expanduser().read_text(encoding="utf-8").strip()
        return None if self.secret_env is None else os.environ[self.secret_env]


class DeliverConfig(msgspec.Struct, frozen=True, kw_only=True):
    """How hails reach the operator. Every face shows them whatever stands here."""

    bell: Annotated[bool, Meta(description="ring the terminal's bell")] = False
    bell_least: Annotated[Level, Meta(description="the least urgency that rings it")] = "urgent"
    sound: Annotated[
        tuple[str, ...],
        Meta(max_length=32, description="command that plays a sound, word by word, run without a shell: "
             "['aplay', '/home/me/bell.wav']"),
    ] = ()  # fmt: skip
    sound_least: Annotated[Level, Meta(description="the least urgency that plays it")] = "wanted"
    desktop: Annotated[bool, Meta(description="show a desktop notification, by notify-send")] = False
    desktop_least: Annotated[Level, Meta(description="the least urgency that is shown")] = "wanted"
    webhook: Annotated[tuple[Webhook, ...], Meta(max_length=16, description="where hails are posted to")] = ()

    def __post_init__(self) -> None:
        names = [hook.name for hook in self.webhook]
        doubled = sorted({name for name in names if names.count(name) > 1})
        if doubled:
            raise ValueError("\n".join(f"webhook: two are called {name!r}" for name in doubled))
