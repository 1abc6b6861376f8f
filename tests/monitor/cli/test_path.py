"""``watchkeeper path``."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner, Result

from watchkeeper.cli import cli

KEYS = [
    "distance_km",
    "azimuth_deg",
    "back_azimuth_deg",
    "long_path_km",
    "from_sun_deg",
    "to_sun_deg",
    "midpoint_sun_deg",
    "hops",
]
AT = ["--at", "2003-10-17T19:30:30Z"]


def run(*arguments: str, lines: str | None = None) -> Result:
    return CliRunner().invoke(cli, ["path", *arguments], input=lines, catch_exceptions=False)


def told(*arguments: str) -> dict[str, float]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    answer: dict[str, float] = json.loads(result.stdout)
    assert list(answer) == KEYS
    return answer


def test_between_places() -> None:
    """GeographicLib's documentation: 5853226 m, 53.47022°, 111.59367° onwards at the end."""
    answer = told("40.6,-73.8", "49.01666667,2.55")
    assert answer["distance_km"] == pytest.approx(5853.226, abs=0.0006)
    assert answer["azimuth_deg"] == pytest.approx(53.47022, abs=1e-4)
    assert answer["back_azimuth_deg"] == pytest.approx(180 + 111.59367, abs=1e-4)
    assert answer["long_path_km"] == pytest.approx(40030.23 - 5853.226, abs=0.001)
    assert answer["hops"] == 2


def test_between_locators_of_any_case() -> None:
    """pyhamtools' tests print 5965 km and 298° on a sphere."""
    answer = told("jn48QM", "FN44ab")
    assert answer["distance_km"] == pytest.approx(5965, rel=0.0056)
    assert answer["azimuth_deg"] == pytest.approx(298, abs=0.5)
    assert answer["distance_km"] == told("48.52083333,9.375", "44.0625,-71.95833333")["distance_km"]


def test_the_sun_at_a_given_time() -> None:
    """NREL's SPA example, 12:30:30 at UTC-7: elevation 39.872046° without refraction."""
    for time in ("2003-10-17T19:30:30Z", "2003-10-17T12:30:30-07:00", "2003-10-17 19:30:30"):
        answer = told("39.742476,-105.1786", "DM79", "--at", time)
        assert answer["from_sun_deg"] == pytest.approx(39.872, abs=0.02)


def test_places_south_and_west_begin_with_a_hyphen() -> None:
    answer = told("-33.9,151.2", "-33.9,-151.2")
    assert answer == pytest.approx(answer | {"distance_km": 5270}, rel=0.01)


def test_from_a_place_to_itself() -> None:
    answer = told("JN58", "JN58")
    assert [answer[key] for key in ("distance_km", "azimuth_deg", "back_azimuth_deg", "hops")] == [0, 0, 0, 0]


def test_for_people() -> None:
    result = run("JN58td", "FN31pr", *AT)
    answer = told("JN58td", "FN31pr", *AT)
    sun = (f"{answer[f'{where}_sun_deg']:+.1f}°".replace("-", "−") for where in ("from", "to", "midpoint"))
    assert result.stdout == (
        "6353 km at 298° (back 52°), long path 33677 km at 118°; 2 hops; Sun {} here, {} there, {} half-way\n"
    ).format(*sun)


def test_pairs_by_the_line_in_order_bad_ones_too() -> None:
    result = run("-", "--json", *AT, lines="JN58td FN31pr\n\nJN58td\n-33.9,151.2 nowhere\nAA00 -0.5,179\n")
    answers = [json.loads(line) for line in result.stdout.splitlines()]
    assert result.exit_code == 1
    bad = [*KEYS, "error"]
    assert [list(answer) for answer in answers] == [KEYS, bad, bad, KEYS]
    assert all(answer[key] is None for answer in answers[1:3] for key in KEYS)
    assert answers[1]["error"] == "two places are needed, FROM and TO; there are 1: JN58td"
    assert answers[2]["error"].startswith("'nowhere' is neither a locator")


def test_good_pairs_by_the_line_for_people() -> None:
    result = run("-", *AT, lines="JN58td FN31pr\n")
    assert result.exit_code == 0
    assert result.stdout == run("JN58td", "FN31pr", *AT).stdout
    assert run("-", *AT, lines="JN58td\n").stdout.startswith("error: two places")


def test_what_a_terminal_would_obey_is_not_repeated() -> None:
    told = run("-", *AT, lines="\x1b[31mJN58td\n\x1b]0;x\x07JN58 \u202eFN31\n").stdout
    assert told.count("\n") == 2
    assert told.replace("\n", "").isprintable()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["JN58td"], "two places are needed"),
        (["JN58td", "FN31", "IO91"], "two places are needed"),
        (["JN58td", "XX99"], "'XX99' is neither a locator"),
        (["JN58td", "48.1"], "'48.1' is neither a locator"),
        (["91,0", "JN58"], "'91,0' is no place"),
        (["JN58", "0,-180.5"], "'0,-180.5' is no place"),
        (["JN58", "FN31", "--at", "soon"], "'soon' is no time"),
        (["JN58", "FN31", "--at", "0001-01-01T00:00+14:00"], "is no time"),
        (["JN58", "FN31", "--att", "soon"], "No such option '--att'"),
        (["JN58", "FN31", "-x"], "No such option '-x'"),
    ],
)
def test_bad_input_gets_one_clear_error(arguments: list[str], message: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert result.stderr.count("Error") == 1
    assert result.stdout == ""
