"""Openings: where each band is open, by direction, from what is heard and how much of the time was listened to."""

from .plugin import Openings, OpeningsConfig

__all__ = ["Openings", "OpeningsConfig"]
