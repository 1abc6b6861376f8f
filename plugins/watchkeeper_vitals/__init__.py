"""Vitals: is the station right? Passband, clock, audio, receiver, drive, match, heat and the sources themselves."""

from .plugin import Vitals
from .settings import VitalsConfig

__all__ = ["Vitals", "VitalsConfig"]
