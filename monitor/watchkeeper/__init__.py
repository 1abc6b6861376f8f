"""Watchkeeper: a listening companion for timed weak-signal digital modes."""

__version__ = "0.1.0"
