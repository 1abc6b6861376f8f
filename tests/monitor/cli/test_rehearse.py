"""``watchkeeper rehearse``: the whole watch over real UDP, as a newcomer runs it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import adif_io
import pytest
from tests.monitor.cli.daemon import complaint, last_json, run

KEYS = {
    "datagrams_sent", "datagrams_received", "datagrams_rejected", "heard", "periods", "contacts_made",
    "contacts_stored", "contacts_forwarded", "hails", "adif_path", "session", "data_dir",
}  # fmt: skip


def rehearse(*more: str) -> tuple[dict[str, Any], bytes]:
    output = run("rehearse", "--plain", "--periods", "20", "--pace", "max", "--seed", "7", "--json", *more)
    return last_json(output), output


def test_contacts_made_stored_and_forwarded_are_the_same_and_in_a_file_that_others_read(tmp_path: Path) -> None:
    told, output = rehearse("--data", str(tmp_path))
    assert set(told) >= KEYS
    assert told["contacts_made"] == told["contacts_stored"] == told["contacts_forwarded"] > 0
    assert told["periods"] == 20
    assert told["datagrams_sent"] == told["datagrams_received"]
    assert told["datagrams_rejected"] == 0
    assert Path(str(told["data_dir"])) == tmp_path
    # adif-io reads ADI independently of us
    records, _ = adif_io.read_from_file(str(told["adif_path"]))
    assert len(records) == told["contacts_made"]
    assert b"Call " in output, "it advised"
    assert b"hail" in output, "it hailed"


@pytest.mark.parametrize("faults", ["wire", "loss=0.1,double=0.1,reorder=0.1"])
def test_a_bad_wire_loses_hearings_and_no_contact(faults: str) -> None:
    told, _ = rehearse("--faults", faults)
    assert told["contacts_made"] == told["contacts_stored"] == told["contacts_forwarded"] > 0
    assert told["events_lost"] > 0
    assert told["datagrams_received"] != told["datagrams_sent"]
    records, _ = adif_io.read_from_file(str(told["adif_path"]))
    assert len(records) == told["contacts_made"]


def test_the_same_seed_is_the_same_evening_at_another_pace(tmp_path: Path) -> None:
    outputs: list[Any] = []
    for name, pace in (("a", "max"), ("b", "200")):
        folder = str(tmp_path / name)
        told = last_json(
            run("rehearse", "--plain", "--periods", "12", "--pace", pace, "--seed", "5", "--json", "--data", folder)
        )
        journal = run("record", "--data", folder)
        outputs.append((told["heard"], told["contacts_made"], told["hails"]))
        replayed = run("replay", "-", "--json", given=journal)
        outputs.append(replayed)
    assert outputs[0] == outputs[2]
    assert outputs[1] == outputs[3]


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("--scenario", "no-such"), "no-such"),
        (("--pace", "-1"), "pace"),
        (("--faults", "loss=2"), "loss"),
        (("--world", "flat"), "flat"),
        (("--start-over",), "--start-over"),
    ],
)
def test_what_cannot_be_is_one_clear_word_before_a_watch_stands(
    arguments: tuple[str, ...], word: str, tmp_path: Path
) -> None:
    said = complaint("rehearse", "--plain", "--data", str(tmp_path / "data"), *arguments)
    assert word in said
    assert "Traceback" not in said
    assert not (tmp_path / "data").exists()


def test_a_second_rehearsal_on_the_same_data_logs_contacts_of_its_own(tmp_path: Path) -> None:
    """Who is worked already is not advised again, so it is another evening: its contacts must not pass for repeats."""
    first, _ = rehearse("--data", str(tmp_path))
    second, _ = rehearse("--data", str(tmp_path))
    assert second["heard"] > 0
    assert second["contacts_made"] == second["contacts_stored"] == second["contacts_forwarded"]
    records, _ = adif_io.read_from_file(str(second["adif_path"]))
    assert len({record["APP_WATCHKEEPER_KEY"] for record in records}) == len(records)
    assert len(records) == first["contacts_made"] + second["contacts_made"]
