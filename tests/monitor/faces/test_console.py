"""The dashboard: whole frames as text, how it yields to size, and that hostile text is harmless in it."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console
from tests.monitor.faces import scenes
from tests.monitor.faces.draw_frames import FRAMES, SCENES, drawn
from tests.monitor.faces.test_clean import HOSTILE

from watchkeeper.faces.console.big import big_lines
from watchkeeper.faces.console.cells import shortened
from watchkeeper.faces.console.frame import frame_lines, render, shared
from watchkeeper.faces.console.keys import named
from watchkeeper.faces.console.table import chosen
from watchkeeper.faces.console.theme import THEMES
from watchkeeper.faces.console.viewing import Viewing
from watchkeeper.faces.shown import Snapshot, Status, to_snapshot, to_status
from watchkeeper.view import Column, Row

ESCAPES = re.compile(r"\x1b\[[0-9;]*m")


def lines_of(
    columns: int, height: int, theme: str = "dark", viewing: Viewing | None = None, **changes: Any
) -> list[str]:
    snapshot, status = to_snapshot(scenes.snapshot(**changes)), to_status(scenes.status())
    lines = frame_lines(snapshot, status, columns, height, THEMES[theme], scenes.NOW_MS, viewing or Viewing())
    return [line.plain for line in lines]


@pytest.mark.parametrize("name", SCENES)
def test_frames_look_as_they_were_approved(name: str) -> None:
    assert drawn(name) == (FRAMES / f"{name}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60), (40, 10), (99, 30), (20, 5), (159, 24)])
def test_every_frame_fills_its_size_exactly(size: tuple[int, int], theme: str) -> None:
    lines = lines_of(*size, theme)
    assert len(lines) == size[1]
    assert {cell_len(line) for line in lines} == {size[0]}


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_the_next_action_is_in_the_upper_quarter(size: tuple[int, int]) -> None:
    upper = "\n".join(lines_of(*size)[: size[1] // 4 + 1])
    for needed in ("CE3QRA", "first Chile for you on 20 m", "start in 9 s", "1,432 Hz", "chance 70 %", "W1QSB"):
        assert needed in upper


@pytest.mark.parametrize("columns", [80, 100, 200])
def test_every_key_is_named_where_all_are_there(columns: int) -> None:
    keys = lines_of(columns, 24, viewing=Viewing(read_only=False, can_invite=True))[-1]
    for name in ("help", "quit", "band: all", "done", "release", "pause", "hail", "phone"):
        assert name in keys


def test_of_the_newest_period_the_most_urgent_hail_comes_first() -> None:
    told = [
        ("urgent before", 3, -20),
        ("urgent", 3, -6),
        ("note later", 1, -5),
        ("urgent later", 3, -4),
        ("wanted", 2, -3),
    ]
    hails = [
        {"key": words, "urgency": urgency, "sentence": words, "at_ms": scenes.NOW_MS + seconds * 1000}
        for words, urgency, seconds in told
    ]
    shown = [lines_of(80, 24, viewing=Viewing(chosen=at), hails=hails)[-2] for at in range(5)]
    for line, words in zip(shown, ("urgent later", "urgent", "wanted", "note later", "urgent before"), strict=True):
        assert f" {words}  " in line


def test_an_empty_cell_adds_nothing_to_the_advice() -> None:
    views = scenes.snapshot()["views"]
    columns = [scenes.column(key, key) for key in ("call", "why", "doing")]
    row = scenes.row("EC2QUX", "EC2QUX", "calls you, first Spain for you", "", call="EC2QUX", to_me=True)
    views[0] = {**views[0], "columns": columns, "rows": [row]}
    assert to_snapshot(scenes.snapshot(views=views)).advice_words() == "calls you, first Spain for you"


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_all_six_panels_are_there(size: tuple[int, int]) -> None:
    frame = "\n".join(lines_of(*size))
    for name in ("LOOKOUT", "ON THE AIR", "OPENINGS", "REACH", "VITALS", "LOG"):
        assert name in frame
    assert "SWR 1.9" in frame  # what wants attention is never cut away


def test_the_countdown_knows_parity_and_the_second_that_is_left() -> None:
    """FT8's 15 s periods by common practice; parity = floor(UTC seconds ÷ length) mod 2."""
    snapshot, status = to_snapshot(scenes.snapshot()), to_status(scenes.status())

    def first(at_ms: int) -> str:
        return frame_lines(snapshot, status, 120, 40, THEMES["dark"], at_ms, Viewing())[0].plain

    assert "even" in first(scenes.NOW_MS)
    assert " 9 s theirs" in first(scenes.NOW_MS)
    assert "odd" in first(scenes.NOW_MS + 9_000)
    assert "15 s yours" in first(scenes.NOW_MS + 9_000)


def test_silence_and_a_lost_watch_are_said_first() -> None:
    snapshot, status = to_snapshot(scenes.snapshot()), to_status(scenes.status())
    late = frame_lines(snapshot, status, 80, 24, THEMES["dark"], scenes.NOW_MS + 60_000, Viewing())[1].plain
    assert late.startswith("!! nothing from any source for 60 s")
    assert lines_of(80, 24, viewing=Viewing(lost_s=42.0))[1].startswith("!! no answer from the watch for 42 s")


def test_an_empty_watch_says_what_it_waits_for() -> None:
    lines = frame_lines(Snapshot(), Status(), 80, 24, THEMES["dark"], scenes.NOW_MS, Viewing())
    frame = "\n".join(line.plain for line in lines)
    assert "waiting for a source" in frame
    assert "nobody yet" in frame


def test_urgency_is_never_colour_alone() -> None:
    for name in ("CE3QRA", "W1QSB"):
        marked = [line for line in lines_of(120, 40) if line.startswith(f"!! {name}")]
        assert marked, name


def test_no_color_leaves_no_colour() -> None:
    output = io.StringIO()
    console = Console(file=output, force_terminal=True, width=80, height=24, no_color=True, color_system="truecolor")
    snapshot, status = to_snapshot(scenes.snapshot()), to_status(scenes.status())
    console.print(render(snapshot, status, 80, 24, THEMES["dark"], scenes.NOW_MS))
    codes = {code for match in re.findall(r"\x1b\[([0-9;]*)m", output.getvalue()) for code in match.split(";")}
    assert codes <= {"0", "1", "2", "4", "7", ""}  # ECMA-48 SGR: reset, bold, faint, underlined, negative


@settings(max_examples=30)
@given(st.lists(HOSTILE, min_size=7, max_size=7), st.sampled_from([(80, 24), (120, 40), (200, 60)]))
def test_hostile_text_in_every_field_is_harmless(texts: list[str], size: tuple[int, int]) -> None:
    supply = iter(texts * 200)

    def poisoned(value: Any, under: str = "") -> Any:
        if isinstance(value, str) and under not in {"form", "panel", "start", "event_clock"}:
            return next(supply)
        if isinstance(value, dict):
            return {key: poisoned(one, key) for key, one in value.items()}
        return [poisoned(one, under) for one in value] if isinstance(value, list) else value

    snapshot, status = to_snapshot(poisoned(scenes.snapshot())), to_status(poisoned(scenes.status()))
    output = io.StringIO()
    console = Console(file=output, force_terminal=True, color_system="truecolor", markup=False, emoji=False)
    console.size = size
    console.print(render(snapshot, status, *size, THEMES["dark"], scenes.NOW_MS))
    lines = ESCAPES.sub("", output.getvalue()).rstrip("\n").split("\n")
    assert len(lines) == size[1]
    assert {cell_len(line) for line in lines} == {size[0]}
    assert all(line.isprintable() for line in lines)


def test_a_view_of_a_later_edition_hides_no_other() -> None:
    views = [{"form": "hologram", "name": "x", "panel": "log", "title": "X"}, *scenes.snapshot()["views"]]
    assert len(to_snapshot(scenes.snapshot(views=views)).views) == len(views) - 1


COLUMNS = st.lists(
    st.builds(
        lambda right, keep: Column(key="k", title="Title", right=right, keep=keep), st.booleans(), st.integers(0, 9)
    ),
    min_size=1,
    max_size=8,
)


@given(COLUMNS, st.integers(1, 120), st.data())
def test_columns_fit_and_the_least_kept_go_first(columns: list[Column], width: int, data: st.DataObject) -> None:
    cells = tuple(data.draw(st.text("xy ", max_size=30)) for _ in columns)
    places, widths = chosen(columns, [Row(key="r", cells=cells)], width)
    assert places
    assert sum(widths) + 2 * (len(widths) - 1) <= width or len(places) == 1
    gone = [columns[i].keep for i in range(len(columns)) if i not in places]
    assert not gone or min(gone) >= max(columns[i].keep for i in places)


@given(st.integers(0, 60), st.lists(st.integers(1, 30), min_size=1, max_size=6), st.integers(0, 2))
def test_no_line_is_given_twice_and_none_is_wasted(height: int, wants: list[int], first: int) -> None:
    heights = shared(height, wants, min(first, len(wants)))
    assert all(0 <= got <= want for got, want in zip(heights, wants, strict=True))
    assert sum(heights) == min(height, sum(wants))


@given(st.lists(st.text("ab ", max_size=20), max_size=9), st.integers(0, 9), st.integers(2, 20))
def test_lines_that_are_left_out_are_announced(lines: list[str], height: int, width: int) -> None:
    kept = shortened(lines, height, width)
    assert len(kept) == min(height, len(lines))
    if 0 < height < len(lines):
        assert kept[-1].rstrip().endswith("…")
        assert cell_len(kept[-1]) <= width


@pytest.mark.parametrize("call", ["DL5QRM", "HB9/W1QSB/P", "A", "MMMMMMMM", "é"])
def test_large_letters_fit_or_give_way_to_plain_ones(call: str) -> None:
    lines = big_lines(call, 80)
    assert len(lines) in (1, 5)
    assert all(cell_len(line) <= 80 for line in lines)


@given(st.binary(max_size=40))
def test_any_bytes_from_a_terminal_are_keys_or_nothing(data: bytes) -> None:
    assert all(key in ("up", "down") or (len(key) == 1 and key.isprintable()) for key in named(data))


def test_arrow_keys_and_letters() -> None:
    assert named(b"q?\x1b[A\x1bOBd\x1b[15~") == ["q", "?", "up", "down", "d"]
