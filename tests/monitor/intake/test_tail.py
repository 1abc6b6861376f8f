"""Following real files through everything that happens to logs."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.intake.tail import CHUNK, Chunk, LineSplitter, Tail


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "decodes.txt"


def append(path: Path, data: bytes) -> None:
    with path.open("ab") as file:
        file.write(data)


def rest(tail: Tail) -> list[Chunk]:
    chunks = []
    while (chunk := tail.read()) is not None:
        chunks.append(chunk)
    return chunks


def test_growth_comes_piece_by_piece(path: Path) -> None:
    append(path, b"one\n")
    tail = Tail(path)
    assert rest(tail) == [Chunk(b"one\n", begins=True)]
    append(path, b"tw")
    assert rest(tail) == [Chunk(b"tw", begins=False)]
    append(path, b"o\n")
    assert rest(tail) == [Chunk(b"o\n", begins=False)]
    tail.close()


def test_a_file_that_is_not_there_yet_is_waited_for(path: Path) -> None:
    tail = Tail(path)
    assert rest(tail) == []
    append(path, b"one\n")
    assert rest(tail) == [Chunk(b"one\n", begins=True)]
    tail.close()


def test_a_rotated_file_is_read_to_its_end_first(path: Path) -> None:
    append(path, b"one\n")
    tail = Tail(path)
    rest(tail)
    append(path, b"two\n")
    path.rename(path.with_suffix(".1"))
    assert rest(tail) == [Chunk(b"two\n", begins=False)]
    append(path.with_suffix(".1"), b"three\n")
    assert rest(tail) == [Chunk(b"three\n", begins=False)]
    append(path, b"four\n")
    assert rest(tail) == [Chunk(b"four\n", begins=True)]
    tail.close()


@pytest.mark.parametrize("new", [b"new\n", b"new line\n", b"new line that is longer\n"])
def test_a_file_truncated_or_rewritten_in_place_is_read_anew(path: Path, new: bytes) -> None:
    append(path, b"old line\n")
    tail = Tail(path)
    rest(tail)
    path.write_bytes(new)  # the same inode, whether shorter, as long or longer
    assert rest(tail) == [Chunk(new, begins=True)]
    tail.close()


def test_at_end_passes_over_what_is_there(path: Path) -> None:
    append(path, b"old\n" * 40)
    tail = Tail(path, at_end=True)
    assert rest(tail) == []
    append(path, b"new\n")
    assert rest(tail) == [Chunk(b"new\n", begins=False)]
    tail.close()


def test_large_files_come_in_chunks(path: Path) -> None:
    append(path, b"x" * (2 * CHUNK + 1))
    tail = Tail(path)
    assert [len(chunk.data) for chunk in rest(tail)] == [CHUNK, CHUNK, 1]
    tail.close()
    tail.close()


def test_what_cannot_be_read_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(IsADirectoryError):
        Tail(tmp_path)


@given(st.lists(st.binary(max_size=30)), st.integers(1, 10))
def test_lines_do_not_depend_on_the_pieces(pieces: list[bytes], limit: int) -> None:
    splitter = LineSplitter(limit)
    found = [line for piece in pieces for line in splitter.feed(piece)]
    found += splitter.flush()
    whole = b"".join(pieces).split(b"\n")
    expected = [line[: limit + 1] for line in whole[:-1]] + [line[: limit + 1] for line in whole[-1:] if line]
    assert found == expected


def test_a_line_without_end_stays_small() -> None:
    splitter = LineSplitter(100)
    for _ in range(1000):
        list(splitter.feed(b"x" * 100))
    assert len(splitter._rest) <= 200
    assert list(splitter.feed(b"\nnext\n")) == [b"next"]
