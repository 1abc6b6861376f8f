"""The daemon as a process: receipts, kill -9, restart, the line feed alone."""

from __future__ import annotations

import json
import urllib.request
from pathlib import Path
from typing import Any

from tests.monitor.cli.daemon import HttpLog, daemon, free_port, run, until

from watchkeeper.sender import Sender

AT = "2026-05-01T18:00:00.000Z"


def log_contact(sender: Sender, identity: str, call: str) -> str:
    """Send a contact and wait for its receipt; the receipt's status."""
    sender.send(
        "contact", at=AT, id=identity, call=call, started_at=AT, ended_at=AT, dial_hz=14_074_000, mode="FT8",
        station_call="DL5QRM", report_sent="-10", report_received="-12",
    )  # fmt: skip
    sender.pump(20)
    receipt = sender.receipts[-1]  # it may have come within `send` already
    assert receipt["of"] == identity
    return str(receipt["status"])


def test_a_contact_whose_daemon_is_killed_before_forwarding_is_forwarded_once_after_a_restart(tmp_path: Path) -> None:
    port = free_port()  # nobody listens there yet: the log is down
    config = f'[[plugins.forward.http]]\nname = "home log"\nurl = "http://127.0.0.1:{port}/"\n'
    with daemon(tmp_path, config) as first:
        sender = Sender("bench", first.address, run="r1")
        assert log_contact(sender, "c-1", "W1QSB") == "stored"
        first.kill()
        sender.close()
    log = HttpLog(port)
    try:
        with daemon(tmp_path, config) as second:
            until(lambda: log.got, "the contact is forwarded")
            sender = Sender("bench", second.address, run="r1")
            assert log_contact(sender, "c-1", "W1QSB") == "repeated"
            until(lambda: second.ask("/api/status")["outbox"]["home log"]["waiting"] == 0, "nothing waits")
            assert second.stop() == 0
            sender.close()
    finally:
        log.close()
    assert len(log.got) == 1
    assert b"W1QSB" in log.got[0][1]
    written = "".join(path.read_text() for path in (tmp_path / "log").glob("contacts-*.adi"))
    assert written.count("W1QSB") == 1


def test_a_standing_watch_tries_again_and_drops_what_the_command_says(tmp_path: Path) -> None:
    port = free_port()  # nobody listens there yet
    config = f'[[plugins.forward.http]]\nname = "home log"\nurl = "http://127.0.0.1:{port}/"\n'
    with daemon(tmp_path, config) as watch:
        sender = Sender("bench", watch.address, run="r1")
        for identity, call in (("c-1", "W1QSB"), ("c-2", "JA1QRV")):
            assert log_contact(sender, identity, call) == "stored"
        sender.close()

        def outbox(*words: str) -> list[dict[str, Any]]:
            listed = run("outbox", *words, "--json", "--destination", "home log", "--data", str(tmp_path))
            return list(json.loads(listed))

        first, second = until(
            lambda: [row for row in outbox("list") if row["tries"]] and outbox("list"), "one was tried"
        )
        said = run("outbox", "drop", str(second["id"]), "--data", str(tmp_path))
        assert said == b"1 will not be forwarded\n"
        # while the log is down: once it is up, the watch may be quicker than the command
        assert run("outbox", "retry", str(first["id"]), "--data", str(tmp_path)) == b"1 will be tried again\n"
        log = HttpLog(port)
        try:
            until(lambda: not outbox("list"), "nothing waits")
        finally:
            log.close()
        assert [row["state"] for row in outbox("list", "--all")] == ["delivered", "dropped"]
    assert len(log.got) == 1
    assert b"W1QSB" in log.got[0][1]


def test_a_stop_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    with daemon(tmp_path) as watch:
        sender = Sender("bench", watch.address, run="r1")
        for number in range(20):
            assert log_contact(sender, f"c-{number}", f"W1QS{chr(65 + number)}") == "stored"
        assert watch.stop() == 0
        sender.close()
    found = run("log", "export", "--json", "-", "--data", str(tmp_path)).splitlines()
    assert len(found) == 20


def test_lines_alone_give_lookouts_worked_check_and_openings(tmp_path: Path) -> None:
    """The line feed sends ``heard`` and nothing else; bursts end by silence."""
    lines = tmp_path / "decodes.txt"
    calls = ("CQ CE3QRT FF46", "CQ VK2QRU QF56", "CQ JA1QRV PM95", "DL5QRM W1QSB FN42", "CQ ZS6QRW KG33")
    lines.write_text(
        "".join(
            f"at=2026-05-01T18:00:{15 * period:02d}Z dial=14.074 off={600 + 200 * number} snr=-{number + 5} "
            f'dt=0.2 mode=FT8 msg="{text}"\n'
            for period in range(3)
            for number, text in enumerate(calls)
        )
    )
    config = '[station]\ncall = "DL5QRM"\nlocator = "JO62qm"\n'
    with daemon(tmp_path / "data", config) as watch:
        host, port = watch.address
        run("feed", "--pattern", "configs/patterns/keyvalue.toml", "--to", f"{host}:{port}", "--json", str(lines))
        views = until(lambda: _judged(watch.ask("/api/snapshot")), "the last burst is judged")
        snapshot = watch.ask("/api/snapshot")
    ranked = {row["key"]: row for row in views["lookout"]["rows"]}
    assert "W1QSB" in ranked, "someone calls us"
    assert "CE3QRT" in ranked
    assert any(hail["call"] == "W1QSB" for hail in snapshot["hails"])
    openings = [view for view in snapshot["views"] if view["panel"] == "openings"]
    assert any("20 m" in str(view) for view in openings)


def _judged(snapshot: dict[str, Any]) -> dict[str, Any] | None:
    views = {view["panel"]: view for view in snapshot["views"] if view["form"] == "table"}
    return views if len(views.get("lookout", {}).get("rows", ())) >= 5 else None


def test_the_live_page_opens_when_asked_for(tmp_path: Path) -> None:
    with daemon(tmp_path, more=("--page", "--page-port", "0")) as watch:
        said = until(lambda: (tmp_path / "serve.txt").read_text(), "it says where the page is")
        url = said.split("The live page: ", 1)[1].splitlines()[0]
        with urllib.request.urlopen(url) as answer:
            page = answer.read().decode()
            policy = answer.headers["Content-Security-Policy"]
        assert watch.stop() == 0
    assert "Watchkeeper" in page
    assert "unsafe-inline" not in policy


def test_a_damaged_log_is_named_in_the_service_log_and_in_the_status(tmp_path: Path) -> None:
    (tmp_path / "watchkeeper.db").write_bytes(b"no database at all" * 500)
    with daemon(tmp_path) as standing:
        notices = standing.ask("/api/status")["notices"]
        standing.stop()
    warnings = [
        entry["message"]
        for entry in map(json.loads, (tmp_path / "serve.txt").read_text().splitlines())
        if entry["level"] == "warning"
    ]
    named = [warning for warning in warnings if "was damaged" in warning and "set aside" in warning]
    assert len(named) == 1
    assert named[0] in notices
