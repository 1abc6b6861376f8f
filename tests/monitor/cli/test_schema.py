"""``watchkeeper schema`` prints what the documents say."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from watchkeeper.cli import cli
from watchkeeper.schema import documents


@pytest.mark.parametrize(
    ("options", "document"),
    [([], documents.json_schema()), (["--json"], documents.json_schema()), (["--asyncapi"], documents.asyncapi())],
)
def test_json_documents(options: list[str], document: documents.Json) -> None:
    done = CliRunner().invoke(cli, ["schema", *options])
    assert done.exit_code == 0
    assert json.loads(done.output) == document


def test_the_page() -> None:
    done = CliRunner().invoke(cli, ["schema", "--page"])
    assert (done.exit_code, done.output) == (0, documents.page())
