"""The page for plugin authors: it is what the program says, whole, and true."""

from __future__ import annotations

import asyncio
import inspect
import re
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from watchkeeper import api, hookspecs
from watchkeeper.api import Check, CheckState, Contact, Context, Destination, Event, Hail, Hearing, Period, Urgency
from watchkeeper.api import hookimpl as implemented
from watchkeeper.authoring.conformance import judge
from watchkeeper.authoring.manual import page
from watchkeeper.cli import cli
from watchkeeper.host.discovery import in_folder
from watchkeeper.host.fitness import HOOKS
from watchkeeper.testing import Bench
from watchkeeper.view import Notice, Panel, View

PAGE = Path(__file__).parents[3] / "docs" / "plugins.md"


class Everything:
    """Implements every hook with the arguments of the page, and keeps what each was given."""

    name = "everything"
    api = 1
    given: dict[str, tuple[Any, ...]]
    delivered: asyncio.Event

    def __init__(self, config: object, context: Context) -> None:
        self.context = context
        Everything.given = {}

    def _note(self, hook: str, *arguments: Any) -> None:
        Everything.given[hook] = arguments

    @implemented
    def annotate(self, hearing: Hearing) -> None:
        self._note("annotate", hearing)

    @implemented
    def burst_judged(self, period: Period) -> None:
        self._note("burst_judged", period)
        self.context.hail(Hail(key="k", urgency=Urgency.NOTE, sentence="heard", rule="all", at_ms=self.context.now_ms))

    @implemented
    def period_closed(self, period: Period) -> None:
        self._note("period_closed", period)

    @implemented
    def contact_logged(self, contact: Contact) -> None:
        self._note("contact_logged", contact)

    @implemented
    def event_seen(self, event: Event) -> None:
        self._note("event_seen", event)

    @implemented
    async def async_start(self, context: Context) -> None:
        self._note("async_start", context)

    @implemented
    async def async_run(self, stop: Any) -> None:
        await stop.wait()
        self._note("async_run", stop)

    @implemented
    def destinations(self) -> Sequence[Destination]:
        self._note("destinations")
        return ()

    @implemented
    async def async_deliver(self, hail: Hail) -> None:
        self._note("async_deliver", hail)
        self.delivered.set()

    @implemented
    def views(self) -> Sequence[View]:
        self._note("views")
        return [Notice(name="everything", panel=Panel.LOG, title="all", text="well")]

    @implemented
    def explain(self, call: str) -> Sequence[str]:
        self._note("explain", call)
        return [f"{call} was heard"]

    @implemented
    def preflight(self) -> Sequence[Check]:
        self._note("preflight")
        return [Check(key="k", label="All", state=CheckState.GOOD, evidence="seen")]

    @implemented
    def report_parts(self, session: int) -> Sequence[View]:
        self._note("report_parts", session)
        return ()

    @implemented
    def metrics(self) -> dict[str, float]:
        self._note("metrics")
        return {"calls_total": 1.0}

    @implemented
    def migrations(self) -> Sequence[str]:
        self._note("migrations")
        return ()


async def test_every_hook_is_called_with_the_arguments_that_the_page_gives_it() -> None:
    Everything.delivered = asyncio.Event()
    bench = Bench(Everything)
    async with bench.running() as host:
        bench.tune(dial_hz=14_074_000)
        bench.period("CQ CE3QRT FF46")
        bench.log("CE3QRT")
        host.deliver(bench.expect_hail(rule="all"))
        await asyncio.wait_for(Everything.delivered.wait(), 5)
        bench.views()
        bench.destinations()
        assert [check.label for check in host.preflight()] == ["All"]
        host.report_parts(7)
        assert host.explain("CE3QRT") == ["CE3QRT was heard"]
        assert host.metrics() == {"everything": {"calls_total": 1.0}}
    assert bench.status("everything").errors == 0
    assert set(Everything.given) == set(HOOKS)
    for hook, given in Everything.given.items():
        assert len(given) == len(inspect.signature(getattr(hookspecs, hook)).parameters), hook


def test_the_page_in_the_tree_is_the_one_that_the_program_makes() -> None:
    made = CliRunner().invoke(cli, ["plugin", "docs"])
    assert made.exit_code == 0
    assert made.output == page() == PAGE.read_text(encoding="utf-8")


@pytest.mark.parametrize("hook", HOOKS)
def test_every_hook_is_on_the_page_with_its_arguments_and_a_sentence(hook: str) -> None:
    found = re.search(rf"^### `(?:async )?{hook}\((.*?)\) -> .*`\n\n(.+)$", page(), re.MULTILINE)
    assert found is not None
    named = re.findall(r"(\w+): ", found[1])
    assert named == list(inspect.signature(getattr(hookspecs, hook)).parameters)
    assert found[2].rstrip()[-1] in ".…"


def test_every_name_of_the_door_is_on_the_page() -> None:
    made = page()
    missing = [name for name in api.__all__ if not re.search(rf"\b{name}\b", made)]
    assert missing == []


def test_the_example_at_the_beginning_is_a_plugin_that_keeps_every_rule(tmp_path: Path) -> None:
    (example,) = re.findall(r"\n\n((?: {4}.*\n|\n)+)", page().partition("It marks what")[0])
    (tmp_path / "portable.py").write_text(textwrap.dedent(example))
    (judged,) = judge(str(tmp_path))
    assert judged.passed, judged.checks
    (candidate,) = in_folder(tmp_path)
    bench = Bench(candidates=[candidate])
    bench.period("CQ CE3QRT FF46", "CQ DL5QRM/P JO62")
    assert bench.expect_hail(rule="portable").sentence == "DL5QRM/P is portable, on 20m"


@pytest.mark.parametrize(
    "row",
    [
        '- `TRY_LATER`: `"try later"`',
        '- `EVER`: `"first ever"`',
        "- `scope`: `Scope`",
        "- `at`: `datetime`",
        "- `dial_hz`: `int`",
        "- `activations`: `tuple[Activation, ...] = ()`",
        "- `matched`: `str | None`: the prefix or exact call of the country file that decided",
    ],
)
def test_members_and_fields_are_on_the_page_with_plain_types(row: str) -> None:
    assert f"\n{row}\n" in page()
