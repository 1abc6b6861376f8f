"""Forward: takes finished contacts to ADIF files, HTTP logs, and UDP or TCP listeners, through the core's outbox."""

from .plugin import Forward, ForwardConfig

__all__ = ["Forward", "ForwardConfig"]
