"""The configuration: TOML, read once, checked as a whole, and every problem told at the same time."""

from .checking import Problem, check
from .loading import ConfigError, Loaded, default_path, load, load_with_origins
from .sections import (
    Activation,
    Config,
    Display,
    Follow,
    FollowedLog,
    Listen,
    Log,
    PluginSettings,
    Station,
    Theme,
    Unannounced,
    Watch,
)

__all__ = [
    "Activation",
    "Config",
    "ConfigError",
    "Display",
    "Follow",
    "FollowedLog",
    "Listen",
    "Loaded",
    "Log",
    "PluginSettings",
    "Problem",
    "Station",
    "Theme",
    "Unannounced",
    "Watch",
    "check",
    "default_path",
    "load",
    "load_with_origins",
]
