"""Text spelled in ASCII, and quotations that no terminal acts on. Transliteration is common practice, no source."""

from __future__ import annotations

import pytest

from watchkeeper.adif.text import quoted, to_ascii


@pytest.mark.parametrize(
    ("text", "spelled"),
    [
        ("plain\t~", "plain\t~"),
        ("Jürgen Größe", "Jurgen Grosse"),
        ("GROẞ", "GROSS"),
        ("Ørsted Łódź", "Orsted Lodz"),
        ("Þórr", "THorr"),
        ("Ωμέγα", "Omega"),
        ("Жанна Щукин", "Zhanna Shchukin"),
        ("объект", "obekt"),
        ("„a“ – b…", '"a" - b...'),
        ("5 µs ± 1 °", "5 us +/- 1 deg"),
        ("e\u0301", "e"),  # an accent behind its letter
        (" \u0301", " "),  # an accent by itself
        ("①ﬁ½", "1fi1/2"),
        ("日☃", "??"),
    ],
)
def test_letters_that_ascii_lacks_are_spelled(text: str, spelled: str) -> None:
    assert to_ascii(text) == spelled


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("", "''"),
        ("José", "'José'"),
        ("a\x1b[31m", "'a\\x1b[31m'"),
        ("é\n", "'\\xe9\\n'"),
        ("x" * 40, f"'{'x' * 40}'"),
        ("x" * 41, f"'{'x' * 39}…'"),
    ],
)
def test_a_quotation_is_short_and_harmless(text: str, shown: str) -> None:
    assert quoted(text) == shown
