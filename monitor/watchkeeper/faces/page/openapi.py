"""The HTTP interface as an OpenAPI 3.1 document, made from the structs that faces decode.

python -m watchkeeper.faces.page.openapi > docs/openapi.json
"""

from __future__ import annotations

import json
from typing import Any

import msgspec

from ... import __version__
from ..shown import Snapshot, Status
from .guards import CODE_LENGTH, COOKIE
from .limits import LARGEST_BODY, LONGEST_CALL, LONGEST_WAIT_S, SEQ_LIMIT
from .metrics import CONTENT_TYPE

Json = dict[str, Any]
_REF = "#/components/schemas/{name}"
#: no party's own schema: an act goes to the watch as it is
_ACT: Json = {
    "type": "object",
    "description": "`done` and `release` name a hail by its key; `pause` names minutes; `session` begins a new one.",
    "required": ["act"],
    "properties": {
        "act": {"type": "string", "examples": ["done", "release", "pause", "session"]},
        "key": {"type": "string"},
        "minutes": {"type": "number", "minimum": 0},
    },
    "examples": [{"act": "done", "key": "lookout|new entity|CE3QRA|20m"}],
}


def document() -> Json:
    """The whole document."""
    _, schemas = msgspec.json.schema_components([Snapshot, Status], ref_template=_REF)
    schemas["Act"] = _ACT
    schemas["Error"] = {
        "type": "object",
        "required": ["error"],
        "properties": {"error": {"type": "string", "description": "what is wrong, in a sentence"}},
    }
    for schema in schemas.values():
        if "description" in schema:
            schema["description"] = " ".join(schema["description"].split())
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Watchkeeper",
            "version": __version__,
            "summary": "What a running watch shows, and the few things it can be told.",
            "description": (
                "Served on the data folder's `watch.sock` (a Unix socket of mode 0600, Host `watch` or `localhost`, "
                "no keys), and by the live page over TCP, where acts need its token or a paired browser. "
                "A request under any other Host is answered 421."
            ),
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "paths": _paths(),
        "components": {
            "schemas": dict(sorted(schemas.items())),
            "securitySchemes": {
                "token": {"type": "http", "scheme": "bearer"},
                "session": {"type": "apiKey", "in": "cookie", "name": COOKIE},
            },
        },
    }


def _paths() -> Json:
    reading: list[Json] = [{}, {"session": []}, {"token": []}]
    return {
        "/api/snapshot": {
            "get": _operation("snapshot", "The watch now", "Snapshot", security=reading, more=_waiting())
        },
        "/api/status": {"get": _operation("status", "Intake, outbox, plugins, notices", "Status", security=reading)},
        "/api/preflight": {
            "get": _operation(
                "preflight", "The checks before the first call", {"type": "object"}, security=reading, errors=("422",)
            )
        },
        "/api/explain": {"get": _explain(reading)},
        "/api/events": {"get": _events(reading)},
        "/api/act": {"post": _act()},
        "/api/pair": {"post": _pair()},
        "/api/openapi.json": {"get": _operation("openapi", "This document", {"type": "object"})},
        "/livez": {"get": _operation("livez", "The process answers", _flag("alive"))},
        "/readyz": {"get": _operation("readyz", "The watch answers", _flag("ready"), errors=("503",))},
        "/metrics": {"get": _metrics(reading)},
    }


def _operation(
    name: str,
    summary: str,
    schema: str | Json,
    *,
    security: list[Json] | None = None,
    errors: tuple[str, ...] = (),
    more: Json | None = None,
) -> Json:
    refused = (*errors, *(("401",) if security else ()), "421")
    more = dict(more or {})
    responses = {
        "200": _json("as asked", schema),
        **{code: _error(code) for code in refused},
        **more.pop("responses", {}),
    }
    return {
        "operationId": name,
        "summary": summary,
        "security": security if security is not None else [],
        **more,
        "responses": dict(sorted(responses.items())),
    }


def _explain(security: list[Json]) -> Json:
    text: Json = {"type": "string"}
    answer: Json = {
        "type": "object",
        "required": ["call", "on_the_air", "hails", "because"],
        "properties": {
            "call": text,
            "on_the_air": {"type": "boolean"},
            "hails": {"type": "array", "items": {"type": "object"}, "description": "the newest hails of the station"},
            "because": {"type": "array", "items": text, "description": "what each plugin says, in sentences"},
        },
    }
    call: Json = {
        "name": "call",
        "in": "query",
        "required": True,
        "description": "the station's call sign",
        "schema": {"type": "string", "minLength": 1, "maxLength": LONGEST_CALL},
    }
    return _operation(
        "explain",
        "Why a station did hail, and why not",
        answer,
        security=security,
        errors=("400", "422"),
        more={"parameters": [call]},
    )


def _waiting() -> Json:
    def query(name: str, words: str, schema: Json) -> Json:
        return {"name": name, "in": "query", "description": words, "schema": schema}

    return {
        "description": (
            "With `wait` the answer comes when event `seq` of `run` from `source` has been judged, or when the time "
            "is over: `covers` says which. `wait` needs the other three."
        ),
        "parameters": [
            query("source", "the source's name", {"type": "string"}),
            query("run", "the source's run", {"type": "string"}),
            query("seq", "the number of the event", {"type": "integer", "minimum": 0, "maximum": SEQ_LIMIT}),
            query("wait", "seconds", {"type": "number", "minimum": 0, "maximum": LONGEST_WAIT_S}),
        ],
        "responses": {"400": _error("400")},
    }


def _events(security: list[Json]) -> Json:
    operation = _operation("events", "Changes and hails as server-sent events", {}, security=security)
    operation["description"] = (
        "`changed` (fetch the snapshot), `hail` (one hail as in the snapshot), `resync` (events were dropped because "
        "this client reads slowly: fetch the snapshot). Comments are signs of life."
    )
    operation["responses"]["200"] = {"description": "a stream", "content": {"text/event-stream": {"schema": _TEXT}}}
    return operation


def _metrics(security: list[Json]) -> Json:
    operation = _operation("metrics", "Counters and gauges as OpenMetrics", {}, security=security)
    media = CONTENT_TYPE.partition(";")[0]
    operation["responses"]["200"] = {"description": "OpenMetrics text 1.0", "content": {media: {"schema": _TEXT}}}
    return operation


def _act() -> Json:
    body = {"required": True, "content": {"application/json": {"schema": {"$ref": _REF.format(name="Act")}}}}
    codes = ("400", "403", "413", "422")
    return _operation(
        "act",
        "Hand an operator's act to the watch",
        {"type": "object"},
        security=[{}, {"session": []}, {"token": []}],
        errors=codes,
        more={"requestBody": body, "description": f"At most {LARGEST_BODY} bytes."},
    )


def _pair() -> Json:
    code = {
        "type": "object",
        "required": ["code"],
        "properties": {
            "code": {"type": "string", "description": f"{CODE_LENGTH} letters and digits; dashes and case are free"}
        },
    }
    return _operation(
        "pair",
        "Trade the pairing code for a session cookie (live page only)",
        _flag("paired"),
        errors=("403", "404", "413"),
        more={"requestBody": {"required": True, "content": {"application/json": {"schema": code}}}},
    )


_TEXT: Json = {"type": "string"}
_MEANINGS = {
    "400": "not understood",
    "401": "this browser is not paired",
    "403": "not allowed",
    "404": "not served here",
    "413": "too large",
    "421": "addressed to another Host",
    "422": "the watch does not take this act",
    "503": "the watch does not answer",
}


def _flag(name: str) -> Json:
    return {"type": "object", "required": [name], "properties": {name: {"const": True}}}


def _json(words: str, schema: str | Json) -> Json:
    shape = {"$ref": _REF.format(name=schema)} if isinstance(schema, str) else schema
    return {"description": words, "content": {"application/json": {"schema": shape}}}


def _error(code: str) -> Json:
    return _json(_MEANINGS[code], "Error")


if __name__ == "__main__":
    print(json.dumps(document(), indent=2, ensure_ascii=False))
