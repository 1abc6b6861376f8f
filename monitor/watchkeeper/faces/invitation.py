"""What a face shows to bring a phone to the live page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Invitation:
    """Sentences with address and pairing code, and a QR code that holds both, as rows of half blocks to be drawn
    black on white."""

    words: tuple[str, ...]
    qr: tuple[str, ...]
