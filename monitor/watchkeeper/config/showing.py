"""The effective configuration, key by key: its value, where it came from, and what it means."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import msgspec

from .checking import description, entry_struct
from .loading import Loaded


class Setting(NamedTuple):
    """One key. ``value`` is plain data (None: not set); ``origin`` a file, a variable, or None for a default.

    ``keys`` are what each entry of a list of tables may hold, with their meaning.
    """

    section: str
    key: str
    value: Any
    origin: str | None
    about: str
    keys: tuple[tuple[str, str], ...] = ()


def settings(loaded: Loaded, plugins: Mapping[str, msgspec.Struct]) -> Iterator[Setting]:
    """All keys in the order of the sections; ``plugins`` are the plugins' own sections, by name."""
    for field in msgspec.structs.fields(loaded.config):
        section = getattr(loaded.config, field.name)
        yield from _section(field.name, section, loaded.origins)
    for name, section in sorted(plugins.items()):
        yield from _section(f"plugins.{name}", section, loaded.origins)


def _section(name: str, section: msgspec.Struct, origins: Mapping[str, str]) -> Iterator[Setting]:
    for field in msgspec.structs.fields(section):
        about = description(field.type)
        if about is not None:
            value = msgspec.to_builtins(getattr(section, field.name), enc_hook=str)
            key = field.encode_name
            yield Setting(name, key, value, origins.get(f"{name}.{key}"), about, tuple(_keys(field.type)))


def _keys(wanted: Any) -> Iterator[tuple[str, str]]:
    entry = entry_struct(wanted)
    for field in msgspec.structs.fields(entry) if entry is not None else ():
        yield field.encode_name, description(field.type) or ""


def as_toml(found: list[Setting]) -> Iterator[str]:
    """Lines of TOML that set the same; above each key its meaning and, unless a default, its origin.

    What is not set is a comment.
    """
    section = None
    for setting in found:
        if setting.section != section:
            if section is not None:
                yield ""
            section = setting.section
            yield f"[{section}]"
        yield f"# {setting.about}" + (f" (set in {setting.origin})" if setting.origin else "")
        yield from (f"#   {key}: {about}" for key, about in setting.keys)
        unset = setting.value is None
        yield f"# {setting.key} is not set" if unset else f"{setting.key} = {toml(setting.value)}"


def variable(setting: Setting) -> str:
    """The environment variable that outweighs the key."""
    return f"WATCHKEEPER_{setting.section}__{setting.key}".replace(".", "__").upper()


def toml(value: Any) -> str:
    """Plain data as a TOML value; what is None inside a table is left out."""
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {toml(each)}" for key, each in value.items() if each is not None)
        return f"{{{inner}}}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    # JSON's strings, numbers and truth values are TOML's too, but for DEL
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(key: str) -> str:
    bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if bare else json.dumps(key)
