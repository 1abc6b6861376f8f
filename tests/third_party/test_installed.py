"""A plugin from elsewhere, installed in a virtual environment of its own: it is there on every face."""

from __future__ import annotations

import json
import subprocess
import sysconfig
import time
import urllib.request
import venv
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from tests.monitor.cli.daemon import Daemon, daemon, line_with, until

from watchkeeper.authoring.conformance import judge
from watchkeeper.cli import cli
from watchkeeper.faces.console.frame import frame_lines
from watchkeeper.faces.console.theme import THEMES
from watchkeeper.faces.console.viewing import Viewing
from watchkeeper.faces.shown import to_snapshot, to_status
from watchkeeper.sender import Sender

HERE = Path(__file__).parent
CLUB = HERE / "club_members"
CLUB_CONFIG = '[plugins.club]\ntitle = "Harbour Club"\nmembers = { CE3QRT = "Rosa", JA1QRV = "Ken" }\n'


def test_the_example_is_fit_to_run() -> None:
    (judged,) = judge(str(CLUB))
    assert judged.passed, judged.checks
    assert (judged.name, judged.distribution, judged.version) == ("club", "club-members", "2.1")


class Environment:
    """A virtual environment that sees the packages of this one, ours among them, beside what it is given."""

    def __init__(self, folder: Path) -> None:
        venv.create(folder, with_pip=False, symlinks=True)
        self.python = str(folder / "bin" / "python")
        variables = {"base": str(folder), "platbase": str(folder)}
        site = Path(sysconfig.get_path("purelib", "venv", variables))
        (site / "lender.pth").write_text(f"import site; site.addsitedir({sysconfig.get_path('purelib')!r})\n")

    def run(self, *arguments: str) -> str:
        done = subprocess.run([self.python, "-m", *arguments], capture_output=True, text=True, check=False)
        assert done.returncode == 0, (arguments, done.stdout[-2000:], done.stderr[-2000:])
        return done.stdout

    def install(self, project: Path, copy: Path) -> None:
        """Install a copy of the project: a build leaves nothing in the tree."""
        subprocess.run(["cp", "-r", str(project), str(copy)], check=True)
        quiet = ("--quiet", "--disable-pip-version-check", "--no-index", "--no-build-isolation", "--no-deps")
        self.run("pip", "install", *quiet, str(copy))


@pytest.fixture
def environment(tmp_path: Path) -> Environment:
    return Environment(tmp_path / "venv")


def hear(watch: Daemon) -> None:
    """A period with one station from Chile."""
    sender = Sender("bench", watch.address)
    start = time.time() // 15 * 15 - 15
    fields: dict[str, Any] = {"at": start, "mode": "FT8", "dial_hz": 14_074_000}
    sender.send("station", at=start, call="DL5QRM", locator="JO62qm")
    sender.send("heard", offset_hz=1520, snr_db=-12, text="CQ CE3QRT FF46", **fields)
    sender.send("period", count=1, final=True, **fields)
    sender.close()


def on_every_face(environment: Environment, tmp_path: Path, plugin: dict[str, str], config: str, hail: str) -> None:
    """``plugin`` names it; ``hail`` is said when CE3QRT is heard, which is also in its table."""
    ready = json.loads(environment.run("watchkeeper", "plugins", "--json", "--data", str(tmp_path / "none")))
    (found,) = [one for one in ready["plugins"] if one["name"] == plugin["name"]]
    assert {**found, **plugin, "state": "ready"} == found
    with daemon(tmp_path / "data", config, ("--page", "--page-port", "0"), environment.python) as watch:
        hear(watch)
        snapshot = until(lambda: _shown(watch.ask("/api/snapshot"), plugin["name"], hail), "it shows the station")
        said = (watch.folder / "serve.txt").read_text()
        url = said.split("The live page: ", 1)[1].splitlines()[0]
        with urllib.request.urlopen(f"{url.partition('#')[0]}api/snapshot") as answer:
            assert _shown(json.load(answer), plugin["name"], hail)
        line_with(hail, "attach", "--plain", "--data", str(watch.folder), python=environment.python)
        frame = frame_lines(
            to_snapshot(snapshot),
            to_status(watch.ask("/api/status")),
            200,
            60,
            THEMES["dark"],
            time.time_ns() // 1_000_000,
            Viewing(),
        )
        drawn = "\n".join(line.plain for line in frame)
        (view,) = [view for view in snapshot["views"] if view["name"] == plugin["name"]]
        assert view["title"] in drawn
        assert all(cell in drawn for cell in view["rows"][0]["cells"])
        standing = environment.run("watchkeeper", "plugins", "--data", str(watch.folder))
        assert f"{plugin['name']}: running ({plugin['distribution']} {plugin['version']})" in standing


def _shown(snapshot: dict[str, Any], name: str, hail: str) -> dict[str, Any] | None:
    """The snapshot, once the view of that name has its row and the hail is there."""
    rows = [row["key"] for view in snapshot["views"] if view["name"] == name for row in view["rows"]]
    hailed = any(hail in one["sentence"] for one in snapshot["hails"])
    return snapshot if rows == ["CE3QRT"] and hailed else None


@pytest.mark.long
def test_the_example_is_on_every_face(environment: Environment, tmp_path: Path) -> None:
    environment.install(CLUB, tmp_path / "club")
    plugin = {"name": "club", "distribution": "club-members", "version": "2.1"}
    on_every_face(environment, tmp_path, plugin, CLUB_CONFIG, "Rosa of Harbour Club is on the air: CE3QRT")


@pytest.mark.long
def test_a_generated_plugin_is_on_every_face(environment: Environment, tmp_path: Path) -> None:
    assert CliRunner().invoke(cli, ["plugin", "new", "far_away", "--in", str(tmp_path)]).exit_code == 0
    environment.install(tmp_path / "far_away", tmp_path / "copy")
    plugin = {"name": "far_away", "distribution": "watchkeeper-far-away", "version": "0.1.0"}
    on_every_face(environment, tmp_path, plugin, "", "CE3QRT is ")
    judged = json.loads(environment.run("watchkeeper", "plugin", "check", "far_away", "--json"))
    assert judged["passed"] is True
