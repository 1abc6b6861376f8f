"""Tables on disk: what was appended comes back, in order, as often as it is asked for."""

from __future__ import annotations

import json

from watchkeeper.rehearsal.spool import Spool


def test_rows_come_back_in_order_and_more_can_follow() -> None:
    table, rows = Spool(), [{"call": f"W{digit}QSB", "snr_db": -1.5 * digit} for digit in range(3000)]
    for row in rows[:2000]:
        table.append(row)
    assert [json.loads(line) for line in table.lines()] == rows[:2000]
    for row in rows[2000:]:
        table.append(row)
    assert [json.loads(line) for line in table.lines()] == rows
    assert [json.loads(line) for line in table.lines()] == rows


def test_a_row_of_several_lines_of_text_stays_one_row() -> None:
    table = Spool()
    table.append({"text": "first\nsecond\u2028third ✓"})
    assert [json.loads(line) for line in table.lines()] == [{"text": "first\nsecond\u2028third ✓"}]


def test_an_empty_table_has_no_rows() -> None:
    assert list(Spool().lines()) == []
