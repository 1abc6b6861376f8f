"""The band and mode tables are made again from the standard's published ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from watchkeeper.radio.build import adif


def test_bands_and_modes(tmp_path: Path) -> None:
    folder = tmp_path / "adif-9.9.9"
    folder.mkdir()
    (folder / "band.csv").write_text("Band,Lower Freq (MHz),Upper Freq (MHz)\n2190m,.1357,.1378\n5m,54.000001,69.9\n")
    (folder / "mode.csv").write_text('Mode,Submodes,Import-only\nMFSK,"FT4,Q65 JS8",\nFT8,,\nMFSK8,,true\n')
    (folder / "submode.csv").write_text("Submode,Mode\nFT4,MFSK\nMFSK8,MFSK\n")
    built = adif.build(tmp_path)
    assert built["adif-bands.csv"].splitlines()[1:] == [
        "name,low_hz,high_hz",
        "2190m,135700,137800",
        "5m,54000001,69900000",
    ]
    assert built["adif-modes.csv"].splitlines()[1:] == [
        "mode,submode,import_only",
        "MFSK,,",
        "FT8,,",
        "MFSK8,,yes",
        "MFSK,FT4,",
        "MFSK,MFSK8,",
    ]
    assert all("ADIF Specification 9.9.9" in text.splitlines()[0] for text in built.values())


def test_without_the_tables(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="no folder adif-"):
        adif.build(tmp_path)
