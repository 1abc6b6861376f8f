"""Scenario files are checked as a whole, and say what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from watchkeeper.rehearsal import scenario

_SHIPPED = ("evening-20m", "park-activation", "contest-hour", "dead-band", "club", "bad-day")
_LEAST = """
title = "A test"
start = 2025-03-15T18:00:00Z
periods = 4
[[band]]
source = "decoder"
dial_hz = 14_074_000
own = true
"""


@pytest.mark.parametrize("name", _SHIPPED)
def test_what_is_shipped_loads(name: str) -> None:
    found = scenario.load(name)
    assert found.title
    assert found.start.tzinfo is not None


def test_a_park_hour_is_an_hour() -> None:
    park = scenario.load("park-activation")
    assert park.periods * 15 == 3600
    assert {fault.kind for fault in park.fault} == {"offline", "pile", "farewell_lost", "battery"}
    assert park.change[0].band == "40 m"


def test_a_club_has_four_sources() -> None:
    assert len({band.source for band in scenario.load("club").band}) == 4


def test_a_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(_LEAST, encoding="utf-8")
    assert scenario.load(str(path)).own.call == "DL5QRM"


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (_LEAST + "colour = 1\n", "colour"),
        (_LEAST.replace("own = true", "own = false"), "exactly one"),
        (_LEAST.replace("periods = 4", "periods = 0"), "periods"),
        (_LEAST.replace("Z", ""), "time zone"),
        (_LEAST + '[[change]]\nat_s = 3\nband = "nowhere"\n', "nowhere"),
        (_LEAST + '[[fault]]\nkind = "weather"\n', "weather"),
        (_LEAST + '[[band]]\nsource = "decoder"\ndial_hz = 1\n', "same name"),
        (_LEAST + '[[fault]]\nkind = "http"\nvalue = 7\n', "between 1 and 3"),
        (_LEAST + 'mode = "SSB"\n', "timed mode"),
        ("title = ", "Invalid value"),
    ],
)
def test_what_is_wrong_is_said(text: str, word: str) -> None:
    with pytest.raises(ValueError, match=word) as caught:
        scenario.parse(text, "mine.toml")
    assert str(caught.value).startswith("mine.toml: ")


def test_an_unknown_name_tells_the_known_ones() -> None:
    with pytest.raises(ValueError, match="evening-20m"):
        scenario.load("morning")


def test_a_file_that_is_not_there_is_named() -> None:
    with pytest.raises(ValueError, match=r"away\.toml"):
        scenario.load("away.toml")
