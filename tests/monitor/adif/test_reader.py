"""The ADI reader: the grammar, the ways in which real files break it, and its bounds."""

from __future__ import annotations

import io
import tracemalloc
from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.adif import Problem, Record, check, encode_record, read, read_file
from watchkeeper.adif.reader import RECORD_LIMIT
from watchkeeper.adif.scan import scan


def records(data: bytes) -> list[Record]:
    return list(read(io.BytesIO(data)))


def only(data: bytes) -> Record:
    (record,) = records(data)
    return record


def test_a_header_is_read_apart_from_the_records() -> None:
    reader = read(
        io.BytesIO(
            b"An evening's log <not a field> <ADIF_VER:5>3.1.7 <PROGRAMID:4>Mine <programversion:3>1.0\n"
            b"<USERDEF1:8:N>QRP_ERPX <USERDEF2:19:E>SweaterSize,{S,M,L} <USERDEF3:15:N>ShoeSize,{5:20} <EOH>\n"
            b"<CALL:6>DL5QRM <EOR>"
        )
    )
    header = reader.header
    assert (header.version, header.program_id, header.program_version) == ("3.1.7", "Mine", "1.0")
    assert [tuple(field) for field in header.user_fields.values()] == [
        (1, "QRP_ERPX", "N", None),
        (2, "SWEATERSIZE", "E", "S,M,L"),
        (3, "SHOESIZE", "N", "5:20"),
    ]
    assert header.problems == []
    assert [dict(record) for record in reader] == [{"CALL": "DL5QRM"}]


@pytest.mark.parametrize(
    "data",
    [
        b"<CALL:6>DL5QRM<BAND:3>20m<EOR>",
        b"<call:6>DL5QRM <band:3>20m <eor>",
        b"\n\n<Call:6>DL5QRM\r\n<Band:3>20m\r\n<eOr>\r\n",
        b"\xef\xbb\xbf<CALL:6:S>DL5QRM <BAND:3:E>20m <EOR>",
        b"prose <EOH><CALL:6>DL5QRM a comment <BAND:3>20m <EOR> the end",
        b"<ADIF_VER:5>3.1.7<EOH><CALL:6>DL5QRM<BAND:3>20m<EOR>",
        b"<CALL:06>DL5QRM< BAND : 3 >20m<EOR>",
    ],
)
def test_the_same_record_in_many_spellings(data: bytes) -> None:
    record = only(data)
    assert record == {"CALL": "DL5QRM", "BAND": "20m"}
    assert record.sound
    assert record.complete


def test_data_may_hold_angle_brackets_and_end_marks() -> None:
    exact = b"5 < 10 <eor> and <CALL:5>W1QSB"
    record = only(b"<NOTES:%d>%s <CALL:6>DL5QRM<EOR>" % (len(exact), exact))
    assert record == {"NOTES": exact.decode(), "CALL": "DL5QRM"}
    assert record.problems == []


def test_types_of_application_and_user_fields_are_kept() -> None:
    data = b"h <USERDEF1:3:N>EPC <EOH><APP_MINE_X:2:n>12<EPC:1>7<CALL:6:S>DL5QRM<ODD:1:S>x<EOR>"
    reader = read(io.BytesIO(data))
    record = next(reader)
    assert record == {"APP_MINE_X": "12", "EPC": "7", "CALL": "DL5QRM", "ODD": "x"}
    assert record.types == {"APP_MINE_X": "N", "ODD": "S"}
    assert encode_record(record).data == b"<APP_MINE_X:2:N>12 <EPC:1>7 <CALL:6>DL5QRM <ODD:1:S>x <EOR>\n"


def test_numbers_lines_and_ends_tell_the_place() -> None:
    data = b"header\n<EOH>\n<CALL:6>DL5QRM <EOR>\n\n<CALL:6>JA1QRV\n<NOTES:3>a\nb<EOR>\n<CALL:5>W1QSB<EOR>"
    found = records(data)
    assert [(record.number, record.line) for record in found] == [(1, 3), (2, 5), (3, 8)]
    assert [data[: record.end][-5:] for record in found] == [b"<EOR>"] * 3
    placed = list(read(io.BytesIO(data), places=True))
    assert [record.line_of("CALL") for record in placed] == [3, 5, 8]
    assert placed[1].line_of("NOTES") == 6


@pytest.mark.parametrize(
    ("data", "name", "why"),
    [
        ("<NAME:4>José <CALL:6>DL5QRM<EOR>".encode(), "José", "length 4 counts characters, not bytes: write 5"),
        ("<NAME:4>José<CALL:6>DL5QRM<EOR>".encode(), "José", "length 4 counts characters, not bytes: write 5"),
        ("<NAME:3>Aà <CALL:6>DL5QRM<EOR>".encode(), "Aà", None),
        ("<NAME:2>Aà <CALL:6>DL5QRM<EOR>".encode(), "Aà", "length 2 counts characters, not bytes: write 3"),
        ("<NAME:3>日本語<CALL:6>DL5QRM<EOR>".encode(), "日本語", "length 3 counts characters, not bytes: write 9"),
        ("<NAME:5>José <CALL:6>DL5QRM<EOR>".encode(), "José", None),
        ("<NAME:4>José <CALL:6>DL5QRM<EOR>".encode("latin-1"), "José", None),
        (b"<NAME:5>a\r\nbc <CALL:6>DL5QRM<EOR>", "a\r\nbc", None),
        (
            b"<NAME:4>a\r\nbc <CALL:6>DL5QRM<EOR>",
            "a\r\nbc",
            "length 4 counts one for a line break of two bytes: write 5",
        ),
        (b"<NAME:5>a\nbc<CALL:6>DL5QRM<EOR>", "a\nbc", "length 5 counts two for a line break of one byte: write 4"),
        ("<NAME:5>é\r\nbc <CALL:6>DL5QRM<EOR>".encode(), "é\r\nbc", "length 5 counts characters, not bytes: write 6"),
    ],
)
def test_miscounted_lengths_are_mended_and_told(data: bytes, name: str, why: str | None) -> None:
    record = only(data)
    assert record == {"NAME": name, "CALL": "DL5QRM"}
    assert record.sound
    assert record.problems == ([(1, 1, "NAME", "warning", why)] if why else [])


def test_a_length_that_is_too_long_is_cut_at_the_next_field() -> None:
    record = only(b"<NAME:30>Bob <QTH:6>Munich\n<CALL:6>DL5QRM<EOR>\n")
    assert record == {"NAME": "Bob", "QTH": "Munich", "CALL": "DL5QRM"}
    why = "length 30 runs over the next field: the data is taken as the 3 bytes before it; mend the length"
    assert record.problems == [(1, 1, "NAME", "error", why)]


def test_a_length_that_is_too_long_does_not_eat_the_next_record() -> None:
    found = records(b"<CALL:6>DL5QRM <NAME:40>Bob <EOR>\n<CALL:6>JA1QRV <BAND:3>20m<EOR>\n<CALL:5>W1QSB<EOR>")
    assert [record["CALL"] for record in found] == ["DL5QRM", "JA1QRV", "W1QSB"]
    assert [record.sound for record in found] == [False, True, True]


def test_a_length_that_is_too_short_keeps_the_standard_meaning_and_tells_the_rest() -> None:
    record = only(b"<NAME:3>Robert <CALL:6>DL5QRM<EOR>")
    assert record == {"NAME": "Rob", "CALL": "DL5QRM"}
    assert record.problems == [
        Problem(1, 1, "NAME", "error", "'ert' follows the data: the length is too short; mend it")
    ]
    comment = only(b"<NAME:6>Robert Smith <CALL:6>DL5QRM<EOR>")
    assert comment == {"NAME": "Robert", "CALL": "DL5QRM"}
    why = "'Smith' stands between the fields: a comment, or a length too short"
    assert comment.problems == [(1, 1, "NAME", "warning", why)]


@pytest.mark.parametrize("broken", [b"<BAND:x>20m", b"<BAND>20m", b"<BAND:>20m", b"<BAND:-3>20m", b"<BAND:1e3>20m"])
def test_a_field_without_a_usable_length_is_an_error(broken: bytes) -> None:
    record = only(b"<CALL:6>DL5QRM\n" + broken + b" <MODE:3>FT8<EOR>")
    assert record == {"CALL": "DL5QRM", "MODE": "FT8"}
    tag = broken.decode().removesuffix("20m")
    why = f"'{tag}' has no length that can be read, so its data is not taken: give the length"
    assert record.problems == [(1, 2, "BAND", "error", why)]


def test_broken_fields_are_told_wherever_they_stand_and_prose_is_not() -> None:
    record = only(b"a <remark> <BAND> x <app_x:> <FOO:> <CALL:6>DL5QRM<MODE>FT8<EOR>")
    assert record == {"CALL": "DL5QRM"}
    assert [(problem.field, problem.severity, problem.why.partition(" ")[0]) for problem in record.problems] == [
        ("BAND", "error", "'<BAND>'"),
        ("APP_X", "error", "'<app_x:>'"),
        ("MODE", "error", "'<MODE>'"),
    ]


def test_a_length_over_a_broken_field_is_cut_there() -> None:
    record = only(b"<NAME:30>Bob <BAND>20m <CALL:6>DL5QRM<EOR>")
    assert record == {"NAME": "Bob", "CALL": "DL5QRM"}
    assert [(problem.field, problem.severity) for problem in record.problems] == [("NAME", "error"), ("BAND", "error")]


def test_data_that_the_end_of_the_file_or_of_a_record_cuts_off_is_told() -> None:
    assert only(b"<CALL:6>JA1Q").problems[0] == (1, 1, "CALL", "error", "the file ends inside its data")
    long = only(b"<CALL:900000>JA1Q" + b" " * RECORD_LIMIT + b"<EOR>")
    why = "length 900000 is beyond what a record may hold"
    assert long.problems[0] == (1, 1, "CALL", "error", why)
    assert len(long.problems) == 2


def test_a_record_that_is_nothing_but_problems_is_told_by_the_first_hundred() -> None:
    record = only(b"<BAND>" * 150 + b"<CALL:6>DL5QRM<EOR>")
    assert len(record.problems) == 100


def test_a_field_that_stands_twice_keeps_the_first_and_tells_the_other() -> None:
    record = only(b"<CALL:6>DL5QRM <CALL:6>JA1QRV<EOR>")
    assert record == {"CALL": "DL5QRM"}
    why = "stands twice in the record: 'DL5QRM' is kept, 'JA1QRV' is not; leave one"
    assert record.problems == [(1, 1, "CALL", "error", why)]
    again = only(b"<CALL:6>DL5QRM <CALL:6>DL5QRM<EOR>")
    assert [(problem.field, problem.severity) for problem in again.problems] == [("CALL", "warning")]


@pytest.mark.parametrize(
    "tail", [b"<CALL:6>JA1Q", b"<CALL:6>JA1QRV", b"<CALL:6>JA1QRV <BAND:3>20m <EO", b"<CALL:6>JA1QRV <BAND"]
)
def test_a_torn_tail_is_handed_out_and_reported(tail: bytes) -> None:
    whole, torn = records(b"<CALL:6>DL5QRM <EOR>\n" + tail)
    assert (whole.complete, whole.sound) == (True, True)
    assert (torn.complete, torn.sound) == (False, False)
    assert torn["CALL"].startswith("JA1Q")
    assert torn.problems[-1].line == 2


def test_every_cut_of_a_file_gives_whole_records_and_at_most_one_torn() -> None:
    data = b"prose <ADIF_VER:5>3.1.7<EOH>\n<CALL:6>DL5QRM <NOTES:9>a <eor> b <EOR>\n<CALL:6>JA1QRV <BAND:3>20m <EOR>\n"
    whole = [dict(record) for record in records(data)]
    for cut in range(data.index(b"<EOH>") + 5, len(data)):
        found = records(data[:cut])
        complete = [dict(record) for record in found if record.complete and record.sound]
        assert complete == whole[: len(complete)]
        assert sum(not record.complete for record in found) <= 1


@pytest.mark.parametrize("data", [b"", b"\n \r\n", b"header only <EOH>", b"<EOR><eor>\n<EOR>", b"h<EOH> a comment\n"])
def test_nothing_comes_from_nothing(data: bytes) -> None:
    assert records(data) == []


def test_a_record_made_by_hand_has_no_place_in_any_file() -> None:
    record = Record({"CALL": "DL5QRM"})
    assert (record.number, record.line, record.end, record.line_of("CALL")) == (0, 0, 0, 0)
    assert (record.complete, record.sound, record.problems, record.types) == (True, True, [], {})


def test_a_file_that_is_no_log_is_told() -> None:
    record = only(b"Dear operator, this is a letter.")
    assert record == {}
    assert not record.sound


def test_files_that_were_joined_are_read_through() -> None:
    one = b"one <ADIF_VER:5>3.1.6 <EOH>\n<CALL:6>DL5QRM<EOR>\n"
    two = b"two <ADIF_VER:5>3.1.7 <USERDEF1:3>EPC<EOH>\n<CALL:6>JA1QRV<EPC:1>1<EOR>\n"
    reader = read(io.BytesIO(one + two))
    assert [record["CALL"] for record in reader] == ["DL5QRM", "JA1QRV"]
    assert reader.header.version == "3.1.7"
    assert "EPC" in reader.header.user_fields


def test_end_marks_may_change_their_spelling_within_a_file() -> None:
    data = b"<CALL:6>DL5QRM<EOR><CALL:6>JA1QRV<eor><CALL:5>W1QSB<Eor><CALL:6>DL5QRM<EOR>"
    assert [record["CALL"] for record in records(data)] == ["DL5QRM", "JA1QRV", "W1QSB", "DL5QRM"]


class Spring(io.RawIOBase):
    """A stream that makes its bytes as they are read: it holds next to nothing itself."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces
        self._rest = b""

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        while len(self._rest) < size:
            piece = next(self._pieces, b"")
            if not piece:
                break
            self._rest += piece
        given, self._rest = self._rest[:size], self._rest[size:]
        return given


def spring(count: int, piece: Callable[[int], bytes]) -> Spring:
    return Spring(piece(index) * 100 for index in range(count // 100))


@pytest.mark.parametrize(
    "piece",
    [
        lambda index: b"<CALL:6>DL5QRM <BAND:3>20m <MODE:3>FT8 <COMMENT:6>n%05d <EOR>\n" % index,
        lambda index: b"no field here, nothing but prose %d\n" % index,
        lambda index: b"<COMMENT:900000000>never ending %d\n" % index,
        lambda index: b"<F%d:1>x" % index,
        lambda index: b"<F%d:1>x<EOH>" % index,
    ],
    ids=["records", "prose", "lengths", "no end mark", "headers"],
)
def test_memory_is_bounded_whatever_the_file_holds(piece: Callable[[int], bytes]) -> None:
    stream = spring(40_000, piece)
    tracemalloc.start()
    for record in read(stream):  # type: ignore[arg-type]
        assert record.number > 0
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 12_000_000


def test_records_cross_the_borders_of_chunks() -> None:
    data = b"".join(b"<CALL:6>DL5QRM <NOTES:%d>%s <EOR>\n" % (n % 997, b"x" * (n % 997)) for n in range(6000))
    found = records(data)
    assert [len(record["NOTES"]) for record in found] == [n % 997 for n in range(6000)]
    assert [record.number for record in found] == list(range(1, 6001))
    assert all(record.line == record.number for record in found)
    assert all(data[: record.end].endswith(b"<EOR>") for record in found[::500])


def test_a_record_beyond_the_limit_is_cut_off_and_the_next_is_read() -> None:
    long = b"<CALL:6>DL5QRM " + b"<COMMENT:3>abc" + b" " * (RECORD_LIMIT * 6) + b"<NAME:3>Bob<eor>\n"
    cut, good = records(long + b"<CALL:6>JA1QRV<EOR>")
    assert cut["CALL"] == "DL5QRM"
    assert not cut.sound
    assert (good["CALL"], good.line) == ("JA1QRV", 2)


def pieces(*parts: bytes) -> Spring:
    """A stream that gives one part at each reading, however much was asked for."""

    class Pieces(Spring):
        def read(self, size: int = -1) -> bytes:
            return next(self._pieces, b"")

    return Pieces(iter(parts))


def test_a_record_without_an_end_is_one_error_and_nothing_comes_after_it() -> None:
    record = only(b"<CALL:6>DL5QRM " + b" " * RECORD_LIMIT * 2 + b"<BAND:3>20m")
    assert record == {"CALL": "DL5QRM"}
    assert not record.complete
    why = "no <EOR> within 262144 bytes: what follows up to the next one is passed over"
    assert record.problems == [(1, 1, None, "error", why)]


@pytest.mark.parametrize("cut", range(8))
@pytest.mark.parametrize("mark", [b"<eor>", b"<A:0><EOR>"])
def test_the_end_mark_of_a_record_beyond_the_limit_is_found_wherever_it_stands(cut: int, mark: bytes) -> None:
    start = b"<NOTES:5><eor><NAME:5>J\xc3\xbcrg "
    blanks = b"\n" * (RECORD_LIMIT - len(start))
    data = start + blanks + mark + b"\n<CALL:6>JA1QRV<EOR>"
    for place in (RECORD_LIMIT, RECORD_LIMIT + 5):
        stream = pieces(data[: place + cut], data[place + cut :])
        long, good = read(stream)  # type: ignore[arg-type]
        assert long == {"NOTES": "<eor>", "NAME": "Jürg"}
        assert (good.number, good.line, good.end) == (2, len(blanks) + 2, len(data))


def test_what_no_mark_ends_is_told_in_words() -> None:
    assert only(b"<CALL:6>DL5QRM").problems == [
        (1, 1, None, "error", "the file ends inside this record: <EOR> is missing, so its end may be lost")
    ]
    assert only(b"Dear operator").problems == [(1, 1, None, "error", "no field of ADIF can be found in this text")]


def test_a_comment_of_any_length_may_stand_between_records() -> None:
    for length in range(RECORD_LIMIT - 20, RECORD_LIMIT + 3):
        data = b"h<EOH>" + b"x" * length + b"<CALL:6>DL5QRM<EOR>"
        record = only(data)
        assert record == {"CALL": "DL5QRM"}
        assert record.sound


def test_read_file_closes_the_file_and_says_what_cannot_be_read(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("logs")
    (folder / "a.adi").write_bytes(b"<CALL:6>DL5QRM<EOR>")
    assert [record["CALL"] for record in read_file(folder / "a.adi")] == ["DL5QRM"]
    with pytest.raises(FileNotFoundError):
        next(read_file(folder / "b.adi"))


_SOUP = st.lists(
    st.sampled_from(
        [b"<CALL:6>DL5QRM", b"<NAME:4>", b"Jos\xc3\xa9", b"<EOR>", b"<eor>", b"<EOH>", b"<", b">", b":", b"\n", b"\r\n",
         b" ", b"<NOTES:9>", b"a < b", b"<APP_X_Y:1:N>1", b"<BAND:x>", b"<:3>", b"<A:99999>", b"\xa0", b"\xff", b"\x00",
         b"<CALL:6>JA1QRV ", b"<USERDEF1:5:E>A,{B}", b"<CALL>"]
    ) | st.binary(max_size=6),
    max_size=40,
).map(b"".join)  # fmt: skip


@given(_SOUP | st.binary(max_size=300))
def test_arbitrary_bytes_never_raise(data: bytes) -> None:
    found = list(read(io.BytesIO(data)))
    assert [record.number for record in found] == list(range(1, len(found) + 1))
    assert all(isinstance(value, str) and name == name.upper() for record in found for name, value in record.items())
    checked = check(io.BytesIO(data))
    assert all(problem.line >= 1 and problem.why for problem in checked)


@given(_SOUP)
def test_the_quick_way_and_the_careful_way_agree(data: bytes) -> None:
    text = data.decode("latin-1")
    careful, position = [], 0
    while position < len(text):
        unit = scan(text, position, len(text), final=True)
        position = unit.end
        if unit.fields and not unit.is_header:
            careful.append(unit.fields)
    if not data.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        assert [dict(record) for record in read(io.BytesIO(data)) if record] == careful
