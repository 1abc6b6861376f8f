"""Lines of text to events, by the three patterns that come with the program and by patterns made to fail."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.intake.lines import MAX_LINE_BYTES, LineEvent, LineReader, Skipped, Unread
from watchkeeper.intake.pattern import PatternError, built, load

PATTERNS = Path(__file__).parents[3] / "configs" / "patterns"


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


NOW = ms("2026-05-01T12:00:31Z")


def reader(name: str, day: date | None = None) -> LineReader:
    return LineReader(load(PATTERNS / name), lambda: NOW, day)


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    return path


def made(tmp_path: Path, *, pattern: str, rest: str = "", now: int = NOW) -> LineReader:
    text = f"title = 'mine'\n{rest}\n[[lines]]\npattern = '''{pattern}'''\n"
    return LineReader(load(written(tmp_path, text)), lambda: now)


HEARD = r"(?P<time>\S+) (?P<mode>\S+) (?P<snr_db>\S+) (?P<text>.+)"
VALUES = "values = { dial_hz = 14074000, offset_hz = 1000 }"


def event(outcome: LineEvent | Skipped | Unread) -> LineEvent:
    assert isinstance(outcome, LineEvent), outcome
    return outcome


def test_key_and_value_pairs() -> None:
    lines = reader("keyvalue.toml")
    line = b'at=2026-05-01T12:00:15Z dial=14.074 off=1520 snr=-12 dt=0.2 mode=FT8 msg="CQ DL5QRM JO62"\r\n'
    assert lines.read(line) == LineEvent(
        "heard",
        ms("2026-05-01T12:00:15Z"),
        {
            "mode": "FT8",
            "dial_hz": 14_074_000,
            "offset_hz": 1520.0,
            "snr_db": -12.0,
            "late_s": 0.2,
            "text": "CQ DL5QRM JO62",
        },
    )
    assert "late_s" not in event(lines.read(line.replace(b" dt=0.2", b""))).fields
    assert lines.read(b"# a remark") == Skipped()
    assert lines.read(b" \n") == Skipped()


def test_columns_with_decimal_commas_and_local_time() -> None:
    lines = reader("csv.toml")
    assert lines.read(b"date;time;dial;mode;snr;dt;offset;text") == Skipped()
    found = event(lines.read(b"2026-05-01;14:00:28;7074,0;FT8;-9;-0,3;834,5;CQ  JA1QRV PM95"))
    # Central European Summer Time is two hours ahead of UTC (Directive 2000/84/EC); 28 s lie in the period from 15 s
    assert found.at_ms == ms("2026-05-01T12:00:15Z")
    assert (found.fields["dial_hz"], found.fields["late_s"], found.fields["offset_hz"]) == (7_074_000, -0.3, 834.5)
    assert found.fields["text"] == "CQ JA1QRV PM95"


def test_words_carry_what_a_tuning_line_says() -> None:
    lines = reader("words.toml")
    assert isinstance(lines.read(b"12:00:15 A -12 dB 1520 Hz > CQ DL5QRM JO62"), Unread)
    assert lines.read(b"listening on 14074.0 kHz with A") == LineEvent(
        "tuning", ms("2026-05-01T12:00:15Z"), {"dial_hz": 14_074_000, "mode": "FT8"}
    )
    first = event(lines.read(b"12:00:15 A -12 dB 1520 Hz > CQ DL5QRM JO62"))
    assert (first.at_ms, first.fields["mode"], first.fields["dial_hz"]) == (
        ms("2026-05-01T12:00:15Z"),
        "FT8",
        14_074_000,
    )
    assert "low_confidence" not in first.fields
    second = event(lines.read(b"12:00:22 B +3 dB 402 Hz ? W1QSB DL5QRM R-07"))
    # the periods of FT4 are 7.5 s long: 22 stands for 22.5
    assert (second.at_ms, second.fields["mode"]) == (ms("2026-05-01T12:00:22.5Z"), "FT4")
    assert second.fields["low_confidence"] is True


def test_a_tuning_line_before_any_time_is_carried_and_not_sent() -> None:
    # sent with the time of now, it would draw the watch's clock away from an old file's lines
    assert reader("words.toml").read(b"listening on 14074.0 kHz with A") == Skipped()


@pytest.mark.parametrize(
    ("now", "time", "expected"),
    [
        ("2026-05-02T00:00:02Z", "23:59:45", "2026-05-01T23:59:45Z"),
        ("2026-05-01T23:59:58Z", "00:00:00", "2026-05-02T00:00:00Z"),
        ("2026-05-01T12:00:00Z", "12:00:15", "2026-05-01T12:00:15Z"),
    ],
)
def test_a_time_without_day_is_the_nearest_to_now(tmp_path: Path, now: str, time: str, expected: str) -> None:
    lines = made(tmp_path, pattern=HEARD, rest=f"{VALUES}\ntime.format = '%H:%M:%S'", now=ms(now))
    assert event(lines.read(f"{time} FT8 -3 CQ DL5QRM".encode())).at_ms == ms(expected)


def test_from_a_given_day_lines_run_across_midnight_and_a_late_one_goes_back() -> None:
    lines = reader("words.toml", date(2024, 2, 28))
    lines.read(b"listening on 14074.0 kHz with A")
    times = ("23:59:45", "00:00:00", "23:59:45", "12:00:00", "23:00:00", "00:00:15")
    found = [event(lines.read(f"{time} A -12 dB 1520 Hz > CQ DL5QRM".encode())).at_ms for time in times]
    days = [datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%d %H:%M:%S") for at_ms in found]
    assert days == ["28 23:59:45", "29 00:00:00", "28 23:59:45", "29 12:00:00", "29 23:00:00", "01 00:00:15"]


@pytest.mark.parametrize(
    ("stamp", "time", "mode", "expected"),
    [
        ("start", "12:00:15", "FT8", "12:00:15"),
        ("start", "12:00:14", "FT8", "12:00:15"),
        ("start", "12:00:07", "FT4", "12:00:07.5"),
        ("inside", "12:00:29", "FT8", "12:00:15"),
        ("inside", "12:00:30", "FT8", "12:00:30"),
        ("printed", "12:00:27", "FT8", "12:00:15"),  # bursts come from 12 s on …
        ("printed", "12:00:33", "FT8", "12:00:15"),  # … until 3 s into the next period (common practice, no source)
        ("printed", "12:00:41", "CW", "12:00:41"),
    ],
)
def test_what_the_time_of_a_line_means(tmp_path: Path, stamp: str, time: str, mode: str, expected: str) -> None:
    rest = f"{VALUES}\ntime = {{ format = '%H:%M:%S', stamp = '{stamp}' }}"
    lines = made(tmp_path, pattern=HEARD, rest=rest)
    assert event(lines.read(f"{time} {mode} -3 CQ DL5QRM".encode())).at_ms == ms(f"2026-05-01T{expected}Z")


@pytest.mark.parametrize(
    ("rule", "time"),
    [
        ("format = 'iso'", "2026-05-01T14:00:15+02:00"),
        ("format = 'iso', zone = '-03:30'", "2026-05-01T08:30:15"),
        ("format = 'unix'", "1777636815"),
        ("format = '%y%m%d_%H%M%S'", "260501_120015"),
        ("format = '%d.%m.%Y/%H:%M:%S%z'", "01.05.2026/13:00:15+0100"),
        ("format = '%H%M%S', zone = 'Asia/Kathmandu'", "174515"),  # UTC+05:45
        ("format = '%H:%M:%S%z'", "14:00:15+0200"),
    ],
)
def test_times_in_many_forms(tmp_path: Path, rule: str, time: str) -> None:
    lines = made(tmp_path, pattern=HEARD, rest=f"{VALUES}\ntime = {{ {rule} }}")
    assert event(lines.read(f"{time} FT8 -3 CQ DL5QRM".encode())).at_ms == ms("2026-05-01T12:00:15Z")


def test_lines_without_any_time_are_of_now(tmp_path: Path) -> None:
    lines = made(tmp_path, pattern="(?P<mode>\\w+) (?P<snr_db>\\S+) (?P<text>.+)", rest=VALUES, now=NOW)
    assert event(lines.read(b"FT8 -3 CQ DL5QRM")).at_ms == ms("2026-05-01T12:00:15Z")  # printed at 31 s


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("12:00:15 FT8", "no pattern fits"),
        ("12:00:15 FT8 loud CQ DL5QRM", "snr_db: 'loud' is no number"),
        ("12:00:15 FT8 NaN CQ DL5QRM", "snr_db: 'NaN' is out of range"),
        ("12:00:15 FT8 1e999999999 CQ DL5QRM", "snr_db: '1e999999999' is out of range"),
        ("12:00:15 FT8 900 CQ DL5QRM", "snr_db: Expected float <= 200.0"),
        ("25:00:15 FT8 -3 CQ DL5QRM", "time: time data '25:00:15' does not match format '%H:%M:%S'"),
        ("12:00:15 F~8 -3 CQ DL5QRM", "mode: Expected str matching regex"),
        ("12:00:15 FT8 -3 " + "x" * 65, "text: Expected str of length <= 64"),
        ("12:00:15 FT8 -3 " + "x" * MAX_LINE_BYTES, "longer than 4096 bytes"),
    ],
    ids=lambda value: value[:30],
)
def test_what_cannot_be_read_says_why(tmp_path: Path, line: str, why: str) -> None:
    lines = made(tmp_path, pattern=HEARD, rest=f"{VALUES}\ntime.format = '%H:%M:%S'")
    outcome = lines.read(line.encode())
    assert isinstance(outcome, Unread)
    assert outcome.why.startswith(why)


@given(
    st.binary(max_size=200)
    | st.from_regex(r"\A\d\d:\d\d:\d\d [AB] [-+]?\d{1,9} dB \d{1,30} Hz > .{0,20}\Z").map(str.encode)
)
def test_no_line_raises(line: bytes) -> None:
    lines = reader("words.toml")
    assert isinstance(lines.read(line), LineEvent | Skipped | Unread)


GOOD: dict[str, Any] = {"time": "time.format = 'iso'", "values": VALUES}


@pytest.mark.parametrize(
    ("text", "complaints"),
    [
        ("title = ", ["mine.toml: not TOML"]),
        ("title = 'x'", ["mine.toml.lines: missing"]),
        ("title = 'x'\nlines = []", ["mine.toml.lines: at least one form of line is needed"]),
        (
            "title = 'x'\n[[lines]]\npatern = 'x'",
            ["mine.toml.lines (entry 1).patern: no such key (did you mean 'pattern'?)"],
        ),
        ("title = 'x'\n[[lines]]\nkind = 'hurd'\npattern = 'x'", ["'hurd'"]),
        ("title = 'x'\n[[lines]]\npattern = '('", ["mine.toml.lines (entry 1).pattern: not a regular expression"]),
        (
            "title = 'x'\n[[lines]]\npattern = '(?P<snr>.*)'",
            ["heard has no field 'snr' (did you mean 'snr_db'?)", "heard needs mode, dial_hz, offset_hz, snr_db, text"],
        ),
        (f"title = 'x'\n{VALUES}\n[[lines]]\npattern = '''{HEARD}'''", ["mine.toml.time.format: missing"]),
        (
            f"title = 'x'\ntime = {{ format = 'noon', zone = 'Moon' }}\n{VALUES}\n[[lines]]\npattern = 'x'",
            ["zone: no such zone: 'Moon'"],
        ),
        (
            f"title = 'x'\ntime.format = 'noon'\n[[lines]]\npattern = '''{HEARD}'''",
            ["format: 'iso', 'unix' or directives"],
        ),
        ("title = 'x'\ntime.zone = '+99:00'\n[[lines]]\npattern = 'x'", ["zone: no such offset: '+99:00'"]),
        (
            "title = 'x'\nunits = { dial_hz = 'miles', snr = 'dB', text = 'dB' }\n[[lines]]\npattern = 'x'",
            [
                "no such unit: 'miles'; it can be Hz or kHz",
                "units.snr: no such field",
                "units.text: no such unit: 'dB'",
            ],
        ),
        (
            "title = 'x'\nvalues = { dial_hz = 'low', mod = 'FT8' }\n[[lines]]\npattern = 'x'",
            [
                "values.dial_hz: Expected int, got str: 'low'",
                "values.mod: no such field of these kinds (did you mean 'mode'?)",
            ],
        ),
        ("title = 'x'\nwords.mod = { A = 'FT8' }\n[[lines]]\npattern = 'x'", ["words.mod: no such field"]),
        ("title = 'x'\nencoding = 'rot13'\n[[lines]]\npattern = 'x'", ["encoding: no encoding of text: 'rot13'"]),
        ("title = 'x'\ntime.format = '%Q'\n[[lines]]\npattern = 'x'", ["format: 'Q' is a bad directive"]),
        ("title = 'x'\n[[lines]]\npattern = 'x{99999999999}'", ["pattern: not a regular expression"]),
        ("title = 'x'\n[[lines]]\npattern = '[[a]'", ["a later Python may read it otherwise"]),  # found by fuzzing
        ("title = 'x'\nencoding = 'klingon'\n[[lines]]\npattern = 'x'", ["encoding: no encoding of text: 'klingon'"]),
    ],
)
def test_a_pattern_that_cannot_work_names_file_key_and_fault(tmp_path: Path, text: str, complaints: list[str]) -> None:
    with pytest.raises(PatternError) as caught:
        load(written(tmp_path, text))
    for complaint in complaints:
        assert complaint in str(caught.value)
    assert all(line.startswith("mine.toml") or str(tmp_path) in line for line in str(caught.value).splitlines())


words = st.sampled_from(
    [
        "title",
        "lines",
        "pattern",
        "kind",
        "time",
        "format",
        "zone",
        "units",
        "values",
        "words",
        "mode",
        "dial_hz",
        "%H",
        "MHz",
        "heard",
        "(?P<text>.)",
    ]
)
anything = st.recursive(
    words | st.integers() | st.booleans() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=4),
    max_leaves=10,
)


@given(st.dictionaries(words, anything, max_size=5), st.binary(max_size=40))
def test_whatever_a_pattern_file_says_it_is_used_or_refused_in_words(data: dict[str, Any], line: bytes) -> None:
    data = {"title": "x", "lines": [{"pattern": ".*", "kind": "skip"}], **data}
    try:
        pattern = built(data, "mine")
    except PatternError as error:
        complaints = str(error).splitlines()
    else:
        complaints = []
        assert isinstance(LineReader(pattern, lambda: NOW).read(line), LineEvent | Skipped | Unread)
    assert all(complaint.startswith("mine") for complaint in complaints)


def test_a_pattern_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PatternError, match=r"gone\.toml: No such file"):
        load(tmp_path / "gone.toml")


def test_settings_go_before_the_files_values(tmp_path: Path) -> None:
    path = written(tmp_path, f"title = 'x'\n{VALUES}\ntime.format = 'iso'\n[[lines]]\npattern = '''{HEARD}'''")
    lines = LineReader(load(path, {"dial_hz": "7074000"}), lambda: NOW)
    found = event(lines.read(b"2026-05-01T12:00:15Z FT8 -3 CQ DL5QRM"))
    assert (found.fields["dial_hz"], found.fields["offset_hz"]) == (7_074_000, 1000.0)
    with pytest.raises(PatternError, match=r"dial_hz \(as set\): Expected int, got str: 'low'"):
        load(path, {"dial_hz": "low"})
