"""Supply: how long the battery lasts, from its charge where the current is known, from tables where it is not."""

from .plugin import Supply
from .settings import SupplyConfig

__all__ = ["Supply", "SupplyConfig"]
