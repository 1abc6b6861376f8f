"""The OpenAPI document: in step with the program, and the program in step with it."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from tests.monitor.faces import scenes
from tests.monitor.faces.test_source import Watch

from watchkeeper.faces.page.app import make_app
from watchkeeper.faces.page.guards import Access
from watchkeeper.faces.page.openapi import document
from watchkeeper.faces.page.opening import open_page

DOCS = Path(__file__).parents[3] / "docs"


def test_the_kept_document_is_that_of_the_program() -> None:
    kept = json.loads((DOCS / "openapi.json").read_text(encoding="utf-8"))
    assert kept == json.loads(json.dumps(document())), "python -m watchkeeper.faces.page.openapi makes it anew"


def test_every_route_is_documented_and_every_documented_one_exists() -> None:
    app = make_app(Watch().source, access=Access(reading_open=True))
    routes = {
        (route.method.lower(), route.resource.canonical)
        for route in app.router.routes()
        if route.resource is not None and route.method != "HEAD"
    }
    described = {(method, path) for path, item in document()["paths"].items() for method in item}
    assert routes == described


@pytest.mark.parametrize(("name", "answer"), [("Snapshot", scenes.snapshot()), ("Status", scenes.status())])
def test_what_is_served_is_what_the_document_says(name: str, answer: dict[str, Any]) -> None:
    schema = {**document(), "$ref": f"#/components/schemas/{name}"}
    jsonschema.Draft202012Validator(schema).validate(answer)


@pytest.mark.long
async def test_requests_made_from_the_document_are_answered_as_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hundreds of requests by schemathesis (extra ``browser``), valid and not; the stream, which never ends, apart."""
    import schemathesis

    async def at_once(*_: object) -> bool:
        return False

    watch = Watch()
    monkeypatch.setattr(watch.source, "covered", at_once)
    async with open_page(watch.source, to_network=False, port=0) as page:
        schema = schemathesis.openapi.from_dict(document()).exclude(path="/api/events")
        await asyncio.to_thread(_try_all, schema, page.urls[0])


def _try_all(schema: Any, url: str) -> None:
    from hypothesis import HealthCheck, given, settings
    from schemathesis.specs.openapi.checks import positive_data_acceptance

    for found in schema.get_all_operations():

        @settings(max_examples=60, deadline=None, database=None, suppress_health_check=list(HealthCheck))
        @given(case=found.ok().as_strategy())
        def ask(case: Any) -> None:
            # that `wait` needs its three companions, and an act a known name, is beyond what a schema can say
            case.call_and_validate(base_url=url, excluded_checks=[positive_data_acceptance])

        ask()
