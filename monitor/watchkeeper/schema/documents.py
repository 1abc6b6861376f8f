"""The documents of the event language, made from its structs: JSON Schema, AsyncAPI, the page for adapter authors."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Any

import msgspec

from . import examples, panels
from .events import KINDS, MAX_BATCH, MAX_DATAGRAM, MAX_NETWORK_DATAGRAM, VERSION, AnyEvent, Event, Receipt
from .meanings import ADVICE, meaning, unit
from .wire import DEFAULT_PORT, REASONS

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_ID = f"urn:watchkeeper:events:{VERSION}"
_TITLE = f"Watchkeeper events, version {VERSION}"
_ENVELOPE = tuple(field.encode_name for field in msgspec.structs.fields(Event))

Json = dict[str, Any]


def json_schema() -> Json:
    """JSON Schema 2020-12 of one datagram: an event, or an array of them. Kinds that it does not list are skipped."""
    return {
        "$schema": _DIALECT,
        "$id": _ID,
        "title": _TITLE,
        "description": f"One UDP datagram of at most {MAX_DATAGRAM} bytes. Fields that are not listed are ignored.",
        "anyOf": [
            {"$ref": "#/$defs/Event"},
            {"type": "array", "items": {"$ref": "#/$defs/Event"}, "maxItems": MAX_BATCH},
        ],
        "$defs": {
            "Event": {"anyOf": [{"$ref": f"#/$defs/{cls.__name__}"} for cls in KINDS.values()]},
            **_definitions("#/$defs/{name}"),
        },
    }


def _definitions(template: str) -> Json:
    """The schema of every struct by its name, explained field by field."""
    _, found = msgspec.json.schema_components([AnyEvent, Receipt], ref_template=template)
    titles = {cls.__name__: kind for kind, cls in KINDS.items()}
    for name, definition in found.items():
        kind = titles.get(name, name.lower())
        definition["title"] = kind
        definition["description"] = _plain(definition["description"])
        for field, schema in definition["properties"].items():
            if field not in definition["required"]:
                _allow_null(schema)
            _explain(kind, field, schema)
        example = examples.RECEIPT if kind == "receipt" else examples.EXAMPLES.get(kind)
        if example is not None:
            definition["examples"] = [example]
    return dict(sorted(found.items()))


def _allow_null(schema: Json) -> None:
    """Absent and null mean the same for every field that may be left out, also where the struct has another default."""
    if any(part.get("type") == "null" for part in schema.get("anyOf", ())):
        return
    told = {key: schema.pop(key) for key in [*schema] if key != "default"}
    schema["anyOf"] = [told, {"type": "null"}]


def _explain(kind: str, field: str, schema: Json) -> None:
    text, unit_text = meaning(kind, field), unit(field)
    schema["description"] = f"{text} [{unit_text}]" if unit_text else text
    if schema.get("default", 0) in (None, ()):
        del schema["default"]  # absent and null mean the same: not known


def _plain(docstring: str) -> str:
    return " ".join(docstring.replace("``", "").split())


def asyncapi() -> Json:
    """AsyncAPI 3.0 of the intake, seen from the watch: it receives events and sends receipts."""
    kinds = {kind: _message(kind, cls.__name__) for kind, cls in KINDS.items()}
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": _TITLE,
            "version": f"{VERSION}.0.0",
            "description": "What decoder programs tell a watch, and how it answers.",
            "license": {"name": "MIT"},
        },
        "defaultContentType": "application/json",
        "servers": {
            "local": {
                "host": f"127.0.0.1:{DEFAULT_PORT}",
                "protocol": "udp",
                "description": f"One event a datagram, or an array of up to {MAX_BATCH}; {MAX_DATAGRAM} bytes at most.",
            }
        },
        "channels": {
            "events": {
                "description": "From a decoder program to the watch.",
                "messages": {kind: {"$ref": f"#/components/messages/{kind}"} for kind in KINDS},
            },
            "receipts": {
                "address": None,
                "description": "From the watch to the address that an event with ack came from.",
                "messages": {"receipt": {"$ref": "#/components/messages/receipt"}},
            },
        },
        "operations": {
            "takeEvents": {
                "action": "receive",
                "channel": {"$ref": "#/channels/events"},
                "reply": {"channel": {"$ref": "#/channels/receipts"}},
            }
        },
        "components": {
            "messages": {**kinds, "receipt": _message("receipt", "Receipt")},
            "schemas": _as_draft_07(_definitions("#/components/schemas/{name}")),
        },
    }


def _message(kind: str, name: str) -> Json:
    example = examples.RECEIPT if kind == "receipt" else examples.EXAMPLES[kind]
    struct: type[msgspec.Struct] = KINDS[kind] if kind != "receipt" else Receipt
    return {
        "name": kind,
        "summary": _plain(struct.__doc__ or ""),
        "payload": {"$ref": f"#/components/schemas/{name}"},
        "examples": [{"payload": example}],
    }


def _as_draft_07(value: Any) -> Any:
    """AsyncAPI's own schema object is of the older draft, which spells fixed-length arrays differently."""
    if isinstance(value, list):
        return [_as_draft_07(item) for item in value]
    if not isinstance(value, dict):
        return value
    made = {key: _as_draft_07(item) for key, item in value.items() if key != "prefixItems"}
    if "prefixItems" in value:
        made["items"] = _as_draft_07(value["prefixItems"])
        made["additionalItems"] = False
    return made


def page() -> str:
    """The page for adapter authors, in Markdown: the prose of ``page.md`` with the tables filled in."""
    parts = {
        "port": str(DEFAULT_PORT),
        "most": str(MAX_BATCH),
        "bytes": f"{MAX_DATAGRAM:,}",
        "network_bytes": f"{MAX_NETWORK_DATAGRAM:,}",
        "envelope": "\n".join(_envelope_table()),
        "kinds": "\n".join(line for kind, cls in KINDS.items() for line in _kind(kind, cls)),
        "receipt_fields": "\n".join(_receipt_table()),
        "receipt": _json(examples.RECEIPT),
        "reasons": "\n".join(_table(("counter", "meaning"), ((f"`{name}`", text) for name, text in REASONS.items()))),
        "matrix": "\n".join(_matrix()),
        "without": "\n".join(f"- **{panel.name}**: {panel.without}." for panel in panels.PANELS),
        "additions": "\n".join(_additions()),
    }
    prose = files(__package__).joinpath("page.md").read_text(encoding="utf-8")
    return re.sub(r"\{\{(\w+)\}\}", lambda found: parts[found[1]], prose)


def _json(value: Mapping[str, Any]) -> str:
    return f"```json\n{json.dumps(value, ensure_ascii=False)}\n```"


def _table(head: tuple[str, ...], rows: Iterator[tuple[str, ...]]) -> Iterator[str]:
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for row in rows:
        yield "| " + " | ".join(row) + " |"


def _envelope_table() -> Iterator[str]:
    properties = _definitions("{name}")["Farewell"]["properties"]
    required = {"v", "kind", "source", "at"}
    rows = (
        (f"`{field}`", _type(properties[field]), "must" if field in required else "may", meaning("", field))
        for field in ("v", "kind", *_ENVELOPE[1:])
    )
    return _table(("field", "type", "", "meaning"), rows)


def _receipt_table() -> Iterator[str]:
    definition = _definitions("{name}")["Receipt"]
    rows = (
        (f"`{field}`", "always" if field in definition["required"] else "may", meaning("receipt", field))
        for field in definition["properties"]
        if field not in ("v", "kind")
    )
    return _table(("field", "", "meaning"), rows)


def _kind(kind: str, cls: type[Event]) -> Iterator[str]:
    yield f"### `{kind}`\n"
    yield f"{_plain(cls.__doc__ or '')} {ADVICE[kind]}\n"
    definition = _definitions("{name}")[cls.__name__]
    own = _own_fields(kind, definition)
    if own:
        required = set(definition["required"])
        rows = (
            (f"`{name}`", _type(schema), unit(name), "must" if name in required else "may", meaning(kind, name))
            for name, schema in sorted(own.items(), key=lambda item: item[0] not in required)
        )
        yield from _table(("field", "type", "unit", "", "meaning"), rows)
        yield ""
    yield _json(examples.EXAMPLES[kind])
    yield ""


def _own_fields(kind: str, definition: Json) -> Json:
    """The fields beyond the envelope, and those of the envelope that this kind needs or means otherwise."""
    special = {field for field in _ENVELOPE if field in definition["required"] and field not in ("v", "source", "at")}
    special |= {field for field in _ENVELOPE if meaning(kind, field) != meaning("", field)}
    properties = definition["properties"]
    return {
        field: schema
        for field, schema in properties.items()
        if field != "kind" and (field not in _ENVELOPE or field in special)
    }


def _type(schema: Json) -> str:
    """The type and range in a few words."""
    if "anyOf" in schema:
        schema = next(part for part in schema["anyOf"] if part.get("type") != "null")
    if "enum" in schema:
        return "text"
    if schema.get("format") == "date-time":
        return "time"
    kind = schema.get("type")
    if kind == "string":
        return f"text, {schema.get('minLength', 0)} to {schema['maxLength']}" if "maxLength" in schema else "text"
    if kind in ("integer", "number"):
        word = "whole number" if kind == "integer" else "number"
        if schema["minimum"] == schema["maximum"]:
            return f"{word}, {_number(schema['minimum'])}"
        return f"{word}, {_number(schema['minimum'])} to {_number(schema['maximum'])}"
    if kind == "array":
        return f"list, up to {schema['maxItems']}"
    return "true or false"


def _number(value: float) -> str:
    return f"{value:,g}" if abs(value) < 1_000_000 else f"{value:,.0f}"


def _matrix() -> Iterator[str]:
    rows = ((f"`{kind}`", *(_cell(kind, panel) for panel in panels.PANELS)) for kind in KINDS)
    return _table(("", *(panel.name for panel in panels.PANELS)), rows)


def _cell(kind: str, panel: panels.Panel) -> str:
    if kind in panel.needs:
        return "**needs**" if len(panel.needs) == 1 else "**one of**"
    return "adds" if kind in panel.adds else ""


def _additions() -> Iterator[str]:
    rows = ((panel.name, f"`{kind}`", text) for panel in panels.PANELS for kind, text in panel.adds.items())
    return _table(("panel", "with", "it shows"), rows)
