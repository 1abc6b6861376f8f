"""The documents of the event language: in step with the structs, true of the examples, and their senders run."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.intake.seal import Seal
from watchkeeper.schema import documents
from watchkeeper.schema.events import KINDS, AnyEvent, Receipt, from_ms
from watchkeeper.schema.examples import EXAMPLES, RECEIPT
from watchkeeper.schema.meanings import ADVICE
from watchkeeper.schema.panels import PANELS
from watchkeeper.schema.wire import DEFAULT_PORT, REASONS, Reason, decode, encode

DOCS = Path(__file__).parents[3] / "docs"
SCHEMA = documents.json_schema()
PAGE = documents.page()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def definition(name: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator({"$defs": SCHEMA["$defs"], "$ref": f"#/$defs/{name}"})


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("schema.md", PAGE),
        ("event-schema.json", json.dumps(SCHEMA, indent=2, ensure_ascii=False) + "\n"),
        ("asyncapi.json", json.dumps(documents.asyncapi(), indent=2, ensure_ascii=False) + "\n"),
    ],
)
def test_the_kept_documents_are_those_of_the_program(name: str, made: str) -> None:
    assert (DOCS / name).read_text(encoding="utf-8") == made, f"make docs/{name} anew with: watchkeeper schema"


def test_the_schema_is_one_by_the_dialects_own_meta_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_every_kind_has_an_example_advice_and_a_place_in_the_matrix() -> None:
    assert set(EXAMPLES) == set(ADVICE) == set(KINDS)
    assert {kind for panel in PANELS for kind in (*panel.needs, *panel.adds)} == set(KINDS)
    assert [panel.name for panel in PANELS] == ["Lookout", "On the air", "Openings", "Reach", "Vitals", "Log"]
    assert all(not set(panel.needs) & set(panel.adds) for panel in PANELS)


@pytest.mark.parametrize("kind", KINDS)
def test_examples_are_valid_by_the_schema_and_taken_by_the_decoder(kind: str) -> None:
    example = EXAMPLES[kind]
    VALIDATOR.validate(example)
    VALIDATOR.validate([example, example])
    (event,) = decode(json.dumps(example).encode()).events
    assert event.kind == kind
    assert json.loads(encode(event)).keys() >= example.keys() - {"ack"}


@pytest.mark.parametrize("kind", KINDS)
def test_schema_and_decoder_require_the_same(kind: str) -> None:
    for field in EXAMPLES[kind]:
        rest = {name: value for name, value in EXAMPLES[kind].items() if name != field}
        assert VALIDATOR.is_valid(rest) == bool(decode(json.dumps(rest).encode()).events), field


@pytest.mark.parametrize("kind", KINDS)
def test_null_is_the_same_as_a_field_left_out(kind: str) -> None:
    told = SCHEMA["$defs"][KINDS[kind].__name__]
    for field in told["properties"]:
        rest = {name: value for name, value in EXAMPLES[kind].items() if name != field}
        event = {**rest, field: None}
        assert VALIDATOR.is_valid(event) == (field not in told["required"]), field
        assert decode(json.dumps(event).encode()) == decode(json.dumps(rest).encode()), field


numbers = st.integers() | st.floats(allow_nan=False, allow_infinity=False)
values = st.none() | st.booleans() | numbers | st.text(max_size=80) | st.lists(st.integers(), max_size=3)
places = st.sampled_from([(kind, field) for kind in KINDS for field in EXAMPLES[kind] if field not in ("kind", "at")])


@given(places, values)
def test_schema_and_decoder_refuse_the_same(place: tuple[str, str], value: Any) -> None:
    kind, field = place
    if field.endswith("_at"):
        value = from_ms(1_777_636_815_000).isoformat()
    event = {**EXAMPLES[kind], field: value}
    by_schema = VALIDATOR.is_valid(event)
    # a text with half a surrogate pair is no text to a decoder; JSON Schema has no word for it
    assert by_schema == bool(decode(json.dumps(event).encode()).events)


def test_receipts_are_what_the_schema_says() -> None:
    definition("Receipt").validate(RECEIPT)
    made = Receipt(v=1, source="mydecoder", of="x", status="refused", why="no")
    definition("Receipt").validate(json.loads(encode(made)))
    assert not definition("Receipt").is_valid({**RECEIPT, "status": "lost"})


def test_every_field_is_explained_and_every_bound_is_told() -> None:
    for name, schema in SCHEMA["$defs"].items():
        for field, told in schema.get("properties", {}).items():
            assert told["description"], f"{name}.{field}"
            assert name == "Activation" or f"`{field}`" in PAGE, f"{name}.{field}"


def test_every_reason_is_told() -> None:
    assert set(REASONS) == set(Reason)
    assert all(f"| `{reason}` |" in PAGE for reason in Reason)


def references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("$ref"), str):
            yield value["$ref"]
        value = list(value.values())
    if isinstance(value, list):
        for item in value:
            yield from references(item)


def test_the_asyncapi_document_holds_together() -> None:
    document = documents.asyncapi()
    assert document["asyncapi"] == "3.0.0"
    for reference in references(document):
        found: Any = document
        for step in reference.removeprefix("#/").split("/"):
            found = found[step]
    assert document["servers"]["local"]["host"].endswith(f":{DEFAULT_PORT}")
    schemas = {"components": document["components"]}
    for message in document["components"]["messages"].values():
        validator = jsonschema.Draft7Validator({**schemas, "allOf": [message["payload"]]})
        validator.validate(message["examples"][0]["payload"])
    assert set(document["channels"]["events"]["messages"]) == set(KINDS)


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)


def test_the_examples_in_the_page_are_the_tested_ones() -> None:
    assert [json.loads(block) for block in blocks("json")] == [*EXAMPLES.values(), RECEIPT]


@pytest.fixture
def receiver() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as found:
        found.bind(("127.0.0.1", 0))
        found.settimeout(5)
        yield found


def sent_by(command: list[str], receiver: socket.socket, count: int) -> list[AnyEvent]:
    """What the page's sender sends, aimed at the test's own port."""
    before = len(command[-1])
    command[-1] = command[-1].replace(str(DEFAULT_PORT), str(receiver.getsockname()[1]))
    assert len(command[-1]) == before
    subprocess.run(command, check=True, timeout=10)
    decoded = [decode(receiver.recv(10_000)) for _ in range(count)]
    assert not [refusal for one in decoded for refusal in one.refusals]
    return [event for one in decoded for event in one.events]


def test_the_sender_in_plain_python_runs(receiver: socket.socket) -> None:
    (program,) = blocks("python")
    assert len(program.splitlines()) <= 15
    heard, period = sent_by([sys.executable, "-c", program], receiver, 2)
    assert (heard.kind, heard.seq, period.kind, period.seq) == ("heard", 1, "period", 2)
    assert heard.run == period.run
    assert heard.at == period.at
    assert heard.at.second % 15 == 0


def test_the_sender_in_shell_runs(receiver: socket.socket) -> None:
    (program,) = blocks("bash")
    (heard,) = sent_by(["bash", "-c", program], receiver, 1)
    assert heard.kind == "heard"
    assert abs((datetime.now(UTC) - heard.at).total_seconds()) < 30


def test_the_seals_check_value_is_true() -> None:
    (sealed,) = re.findall(r"^    (WK1 \d+ 0{32} [0-9a-f]{64} \{\})$", PAGE, re.MULTILINE)
    assert Seal(b"watchkeeper test").open(sealed.encode(), 1_777_636_815_000) == b"{}"
