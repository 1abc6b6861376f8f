"""``watchkeeper data``: a good release is taken, a bad one refused, and the one in use kept."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from watchkeeper.cli import cli
from watchkeeper.radio import entity

SOUND = files("pyhamcty").joinpath("data/cty.csv").read_text(encoding="utf-8")
NEWER = SOUND.replace("=VER20260915", "=VER20270203").replace(
    "DL,Fed. Rep. of Germany", "DL,Germany of a newer release"
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("WATCHKEEPER_DATA", str(tmp_path / "elsewhere"))
    yield tmp_path / "data"
    entity.use(None)  # the commands run in this process: what they took up must not reach the next test


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli, list(arguments), catch_exceptions=False)


def written(folder: Path, text: str) -> str:
    path = folder.parent / "country.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def shown(folder: Path) -> dict[str, object]:
    answer: dict[str, object] = json.loads(run("data", "show", "--data", str(folder), "--json").stdout)
    return answer


def test_the_bundled_release_is_shown_with_its_age(folder: Path) -> None:
    answer = shown(folder)
    assert list(answer) == ["release", "date", "age_days", "source", "refreshed", "path", "rows", "prefixes", "calls"]
    assert (answer["release"], answer["date"], answer["refreshed"]) == ("20260915", "2026-09-15", False)
    assert (answer["rows"], answer["prefixes"], answer["calls"]) == (346, 4798, 4089)
    text = run("data", "show", "--data", str(folder)).stdout
    assert f"release 20260915 of 2026-09-15, {answer['age_days']} days old (as it came with the package)" in text
    assert "346 entities and parts of entities, 4798 prefixes, 4089 exact calls" in text


def test_a_newer_release_is_taken_and_used(folder: Path) -> None:
    result = run("data", "refresh", written(folder, NEWER), "--data", str(folder), "--json")
    assert result.exit_code == 0
    assert json.loads(result.stdout) == shown(folder)
    assert (shown(folder)["release"], shown(folder)["refreshed"]) == ("20270203", True)
    assert f"refreshed, in {folder / 'entities.tsv'}" in run("data", "show", "--data", str(folder)).stdout
    assert "Germany of a newer release" in run("lookup", "DL5QRM", "--data", str(folder)).stdout
    assert "Fed. Rep. of Germany" in run("lookup", "DL5QRM").stdout
    assert list(folder.iterdir()) == [folder / "entities.tsv"]


def test_the_same_release_may_be_taken_again(folder: Path) -> None:
    for _ in range(2):
        assert run("data", "refresh", written(folder, SOUND), "--data", str(folder)).exit_code == 0
    assert shown(folder)["refreshed"] is True


LINE = next(number for number, line in enumerate(NEWER.splitlines(), 1) if line.startswith("DL,"))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "newer release,230,EU,14,28,",
            "newer release,230,EU,41,28,",
            f"line {LINE}: DL: CQ zone 41 is not within 1 to 40",
        ),
        (
            "newer release,230,EU,14,28,",
            "newer release,230,EU,14,91,",
            f"line {LINE}: DL: ITU zone 91 is not within 1 to 90",
        ),
        ("newer release,230,", "newer release,999,", f"line {LINE}: entity code 999"),
        ("newer release,230,", "newer release,2,", f"line {LINE}: entity code 2"),
        ("=VER20270203", "=VER20200101", "release 20200101 is older than 20260915, which is in use"),
    ],
)
def test_a_bad_release_is_refused_and_the_one_in_use_kept(folder: Path, old: str, new: str, said: str) -> None:
    assert run("data", "refresh", written(folder, SOUND), "--data", str(folder)).exit_code == 0
    before = (folder / "entities.tsv").read_bytes()
    assert old in NEWER
    result = run("data", "refresh", written(folder, NEWER.replace(old, new)), "--data", str(folder))
    assert result.exit_code == 1
    assert said in result.stderr
    assert "Nothing was changed." in result.stderr
    assert (folder / "entities.tsv").read_bytes() == before
    assert "Fed. Rep. of Germany" in run("lookup", "DL5QRM", "--data", str(folder)).stdout


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"not,a,country,file\n", b"<html>"])
def test_what_is_no_country_file_is_refused(folder: Path, content: bytes) -> None:
    path = folder.parent / "country.csv"
    path.write_bytes(content)
    result = run("data", "refresh", str(path), "--data", str(folder))
    assert result.exit_code == 1
    assert result.stderr.startswith(f"Error: {path}: ")
    assert not folder.exists()


def test_a_line_that_is_no_text_is_named(folder: Path) -> None:
    path = folder.parent / "country.csv"
    path.write_bytes(NEWER.encode().replace(b"Germany of a newer", b"Germany \xff of a newer"))
    result = run("data", "refresh", str(path), "--data", str(folder))
    assert f"line {LINE}: is no UTF-8 text" in result.stderr


def test_a_byte_order_mark_does_no_harm(folder: Path) -> None:
    assert run("data", "refresh", written(folder, "\ufeff" + NEWER), "--data", str(folder)).exit_code == 0
    assert "(246)" in run("lookup", "1A0QR", "--data", str(folder)).stdout


def test_a_file_that_is_not_there(folder: Path) -> None:
    result = run("data", "refresh", str(folder / "none.csv"))
    assert result.exit_code == 2
    assert "does not exist" in result.stderr


def test_a_folder_that_cannot_be_written_is_named(folder: Path) -> None:
    folder.write_text("a file in its place", encoding="utf-8")
    result = run("data", "refresh", written(folder, NEWER), "--data", str(folder / "below"))
    assert result.exit_code == 1
    assert "cannot be written" in result.stderr
