"""The sender that any decoder author may copy: the one file ``send.py`` of this package."""

from .send import DEFAULT_ADDRESS, Sender

__all__ = ["DEFAULT_ADDRESS", "Sender"]
