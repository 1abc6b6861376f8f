"""Writes the frames that ``test_console.py`` compares with: run it after a wanted change, and look at what changed."""

from __future__ import annotations

from pathlib import Path

from tests.monitor.faces import scenes

from watchkeeper.faces.console.frame import frame_lines
from watchkeeper.faces.console.theme import THEMES
from watchkeeper.faces.console.viewing import Viewing
from watchkeeper.faces.shown import to_snapshot, to_status

FRAMES = Path(__file__).with_name("frames")
#: name → (columns, lines, theme, what the keys have changed)
SCENES: dict[str, tuple[int, int, str, Viewing]] = {
    "80x24": (80, 24, "dark", Viewing(read_only=False)),
    "120x40": (120, 40, "light", Viewing(read_only=False)),
    "200x60": (200, 60, "dark", Viewing(read_only=True)),
    "sunlight-80x24": (80, 24, "sunlight", Viewing(read_only=False)),
    "help-80x24": (80, 24, "dark", Viewing(read_only=False, helping=True)),
    "one-band-80x24": (80, 24, "dark", Viewing(read_only=False, band="40 m")),
    "lost-80x24": (80, 24, "dark", Viewing(lost_s=42.0)),
}


def drawn(name: str) -> str:
    """The frame of that scene as plain text."""
    columns, height, theme, viewing = SCENES[name]
    snapshot, status = to_snapshot(scenes.snapshot()), to_status(scenes.status())
    lines = frame_lines(snapshot, status, columns, height, THEMES[theme], scenes.NOW_MS, viewing)
    return "".join(line.plain.rstrip() + "\n" for line in lines)


if __name__ == "__main__":
    for scene in SCENES:
        (FRAMES / f"{scene}.txt").write_text(drawn(scene), encoding="utf-8")
