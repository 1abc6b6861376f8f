"""Reference levels of ICNIRP 2020 (Health Physics 118:483-524).

Local exposure: as reproduced in the Handbook of Biological Effects of Electromagnetic Fields, Table 7.8. Whole-body
levels are from memory; that their power ratio to the local ones is five agrees with the guidelines. The levels by band
were computed from the formulas apart from this program.
"""

from __future__ import annotations

import pytest

from watchkeeper.radio import exposure
from watchkeeper.radio.exposure import Extent, Population

ROWS: list[tuple[Extent, Population, float, float, float, float, float]] = [
    # extent, population, E at 1 MHz, H at 1 MHz; above 30 MHz E, H, S
    ("local", "controlled", 1504, 10.8, 139, 0.36, 50),
    ("local", "general", 671, 4.9, 62, 0.163, 10),
    ("whole body", "controlled", 660, 4.9, 61, 0.16, 10),
    ("whole body", "general", 300, 2.2, 27.7, 0.073, 2),
]


@pytest.mark.parametrize(("extent", "population", "e", "h", "high_e", "high_h", "high_s"), ROWS)
def test_table(
    extent: Extent, population: Population, e: float, h: float, high_e: float, high_h: float, high_s: float
) -> None:
    averaging_min = 6 if extent == "local" else 30
    assert exposure.icnirp_limit(1e6, population, extent) == (e, h, None, averaging_min)
    at_two_mhz = exposure.icnirp_limit(2e6, population, extent)  # E = e/f^0.7, H = h/f
    assert (at_two_mhz.e_v_per_m, at_two_mhz.h_a_per_m) == pytest.approx((e / 2**0.7, h / 2))
    for hz in (30.1e6, 145e6, 400e6):
        assert exposure.icnirp_limit(hz, population, extent) == (high_e, high_h, high_s, averaging_min)
    assert exposure.icnirp_limit(30e6, population, extent).s_w_per_m2 is None
    above = exposure.icnirp_limit(400.9e6, population, extent)
    assert (above.e_v_per_m, above.h_a_per_m, above.averaging_min) == (None, None, averaging_min)


@pytest.mark.parametrize(
    ("mhz", "whole_body", "local"),
    [
        (1.84, 195.8, 437.9), (3.573, 123.0, 275.2), (7.074, 76.27, 170.6), (10.136, 59.29, 132.6),
        (14.074, 47.12, 105.4), (21.074, 35.52, 79.45), (28.074, 29.06, 65.00),
    ],
)  # fmt: skip
def test_electric_field_for_the_public_by_band(mhz: float, whole_body: float, local: float) -> None:
    extents: tuple[Extent, ...] = ("whole body", "local")
    found = [exposure.icnirp_limit(mhz * 1e6, "general", extent).e_v_per_m for extent in extents]
    assert found == pytest.approx([whole_body, local], rel=5e-4)


def test_the_stricter_field_counts_below_30_mhz() -> None:
    limit = exposure.icnirp_limit(14.074e6, "general")
    assert limit.e_v_per_m is not None
    assert limit.plane_wave_w_per_m2 == pytest.approx(limit.e_v_per_m**2 / 376.73)
    # H = 2.2/f: at 7 MHz and far below, E asks for less power density than H
    assert exposure.icnirp_limit(0.5e6, "general").plane_wave_w_per_m2 > limit.plane_wave_w_per_m2


def test_distances_use_the_stricter_extent() -> None:
    found = exposure.distances(42, 2, 14.074e6, rules="ICNIRP", ground_reflection=False)
    field = (30 * 42 * 10**0.2) ** 0.5 / found.general_m  # E = √(30·EIRP)/R
    assert field == pytest.approx(47.12, rel=1e-3)
    assert found.controlled_m < found.general_m


@pytest.mark.parametrize(("extent", "population"), [(row[0], row[1]) for row in ROWS])
def test_ranges_join_where_they_meet(extent: Extent, population: Population) -> None:
    # from memory: S = f/200, f/40, 0.058·f^0.86, 0.29·f^0.86 to 2 GHz, then 10, 50, 40, 200 W/m²; the ends agree
    for edge_hz in (400e6, 2000e6):
        below, above = (
            exposure.icnirp_limit(hz, population, extent).plane_wave_w_per_m2 for hz in (edge_hz, edge_hz + 1)
        )
        assert above == pytest.approx(below, rel=0.005)


@pytest.mark.parametrize("mhz", [2000.9, 5760.0, 6000.0])
def test_above_two_gigahertz_the_density_is_constant(mhz: float) -> None:
    # from memory
    found = {row[:2]: exposure.icnirp_limit(mhz * 1e6, row[1], row[0]).s_w_per_m2 for row in ROWS}
    assert found == {
        ("local", "controlled"): 200,
        ("local", "general"): 40,
        ("whole body", "controlled"): 50,
        ("whole body", "general"): 10,
    }


def test_seventy_centimetres() -> None:
    assert exposure.icnirp_limit(432e6, "general").s_w_per_m2 == pytest.approx(2.16)
    assert exposure.icnirp_limit(432e6, "controlled").s_w_per_m2 == pytest.approx(10.8)


@pytest.mark.parametrize("hz", [0.0999e6, 6000.1e6])
def test_outside_the_tables(hz: float) -> None:
    with pytest.raises(ValueError, match="ICNIRP levels here hold"):
        exposure.icnirp_limit(hz, "general")
    assert exposure.icnirp_limit(0.1e6, "general").e_v_per_m == pytest.approx(300 / 0.1**0.7)
