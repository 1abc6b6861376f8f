"""The data files are made again from raw files: small ones with every difficulty."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from watchkeeper.radio import datafile
from watchkeeper.radio.build import outlines, tables
from watchkeeper.radio.build.topojson import outlines as rings_of
from watchkeeper.radio.polygon import signed_area

ITU = "\n".join(
    [
        "first,last,administration",
        "3DA,3DM,Eswatini (Kingdom of)",
        "3DN,3DZ,Fiji (Republic of)",
        "DAA,DAZ,Germany (Federal Republic of)",
        "DBA,DBZ,Germany (Federal Republic of)",
        "DDA,DDZ,Germany (Federal Republic of)",
        "PJA,PJZ,Netherlands (Kingdom of the) - Curaçao",
        "PJA,PJZ,Netherlands (Kingdom of the) - Aruba",
    ]
)
STATES = "Code,DXCC Entity Code,CQ Zone,ITU Zone\nCT,291,05,08\nAZ,291,03,06/07\nZZ,291,,\nNS,1,05,09\n"


@pytest.fixture
def raw(tmp_path: Path) -> Path:
    adif = tmp_path / "adif-9.9.9"
    adif.mkdir()
    entities = ["Entity Code,Entity Name,Deleted"]
    for line in datafile.read("entity-codes.txt").splitlines():
        code, gone, name = line.split("\t")
        entities.append(f'{code},"{name}",{"true" if gone else ""}')
    (adif / "dxcc_entity_code.csv").write_text("\n".join(entities), encoding="utf-8")
    (adif / "primary_administrative_subdivision.csv").write_text(STATES, encoding="utf-8")
    (tmp_path / "itu-appendix-42.csv").write_text(ITU, encoding="utf-8")
    country_file = files("pyhamcty").joinpath("data/cty.csv").read_text(encoding="utf-8")
    (tmp_path / "country-files-20260915.csv").write_text(country_file, encoding="utf-8")
    return tmp_path


def test_tables(raw: Path) -> None:
    built = tables.build(raw)
    assert built["entity-codes.txt"] == datafile.read("entity-codes.txt")
    assert built["entities.tsv"] == datafile.read("entities.tsv")
    assert built["us-state-zones.txt"] == "CT\t5\t8\nAZ\t3\t\nZZ\t\t\n"
    assert built["itu-series.txt"].splitlines() == [
        "3DA\t3DM\tEswatini (Kingdom of)",
        "3DN\t3DZ\tFiji (Republic of)",
        "DAA\tDBZ\tGermany (Federal Republic of)",
        "DDA\tDDZ\tGermany (Federal Republic of)",
        "PJA\tPJZ\tNetherlands (Kingdom of the)",
    ]


def test_a_missing_raw_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"dxcc_entity_code\.csv"):
        tables.build(tmp_path)


def topology(path: Path, name: str, shapes: dict[str, list[list[list[int]]]]) -> Path:
    """A TopoJSON file whose rings are given as degrees; each ring is an arc of its own."""
    arcs: list[list[list[int]]] = []
    geometries: list[dict[str, Any]] = []
    for region, rings in shapes.items():
        indices = []
        for ring in rings:
            closed = [*ring, ring[0]]
            steps = [[x - px, y - py] for (x, y), (px, py) in zip(closed, [[0, 0], *closed], strict=False)]
            indices.append([len(arcs)])
            arcs.append(steps)
        geometries.append({"type": "Polygon", "arcs": indices, "properties": {"name": region}})
    transform = {"scale": [1, 1], "translate": [0, 0]}
    text = {"transform": transform, "arcs": arcs, "objects": {name: {"geometries": geometries}}}
    path.write_text(json.dumps(text), encoding="utf-8")
    return path


def test_rings_across_the_antimeridian_and_round_the_pole(tmp_path: Path) -> None:
    path = topology(
        tmp_path / "land.json",
        "land",
        {
            "Ringed": [[[0, 0], [0, 10], [10, 10], [10, 0]], [[4, 4], [6, 4], [6, 6], [4, 6]]],
            "Across": [[[178, 0], [-178, 0], [-178, 2], [178, 2]]],
            "Polar": [[[-180, -80], [-90, -80], [0, -80], [90, -80], [179, -80]]],
        },
    )
    areas: dict[str, float] = {}
    for name, ring in rings_of(path, "land"):
        areas[name] = areas.get(name, 0.0) + signed_area(ring)
    assert areas == {"Ringed": 96, "Across": 8, "Polar": 3600}


def box(west: int, south: int, east: int, north: int) -> list[list[int]]:
    return [[west, south], [east, south], [east, north], [west, north]]


def test_outlines_are_cut_along_the_locators(tmp_path: Path) -> None:
    countries = {"Whole": [box(0, 0, 2, 1)], "Cook Is.": [box(2, 0, 3, 1)], "W. Sahara": [box(3, 0, 4, 1)]}
    states = {"Ohio": [box(-2, 0, 0, 2)], "Guam": [box(0, 0, 2, 2)]}
    topology(tmp_path / "countries-50m.json", "countries", countries)
    topology(tmp_path / "us-states-10m.json", "states", states)
    built = outlines.build(tmp_path)
    whole, west, east = built["countries.txt"].splitlines()
    assert whole == "W\tWhole\tJJ001000"
    assert west == "M\tJJ10\tCook Islands\t1200 0 0 2400 -1200 0 0 -2400"
    assert east == "M\tJJ10\tWestern Sahara\t2400 0 0 2400 -1200 0 0 -2400"
    assert built["us-states.txt"] == "W\tOH\tIJ901000 IJ911000\n"
