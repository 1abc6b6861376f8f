"""RF exposure by the FCC's rules.

* 47 CFR 1.1310: both tables, as a page that prints them in full gives them (mW/cm²; 1 mW/cm² is 10 W/m²);
* OET Bulletin 65 edition 97-01: equations and ground reflection, as manuals and an openly licensed implementation quote
  them; worked values of that implementation and of published pages, each named below;
* 47 CFR 1.1307(b)(3)(i)(C) (FCC 19-126): exemption formulas, from the same implementation.

Supplement B itself was not at hand: its table values are computed apart from this program by its method.
"""

from __future__ import annotations

import pytest

from watchkeeper.radio import exposure
from watchkeeper.radio.link import db_to_ratio

FOOT_M = 0.3048


@pytest.mark.parametrize(
    ("mhz", "controlled", "general"),
    [
        (1.9, 100.0, 49.861), (3.6, 69.444, 13.889), (3.75, 64.0, 12.8), (7.1, 17.854, 3.5707), (10.12, 8.7878, 1.7576),
        (14.1, 4.5269, 0.9054), (21.1, 2.0215, 0.4043), (28.1, 1.1398, 0.2280), (50.3, 1.0, 0.2), (432, 1.44, 0.288),
        (1296, 4.32, 0.864), (1500.9, 5.0, 1.0), (2400, 5.0, 1.0), (10_000, 5.0, 1.0), (0.5, 100.0, 100.0),
    ],
)  # fmt: skip
def test_power_density_limits(mhz: float, controlled: float, general: float) -> None:
    found = [exposure.fcc_limit(mhz * 1e6, who).s_w_per_m2 for who in ("controlled", "general")]
    assert found == pytest.approx([controlled * 10, general * 10], rel=2e-4)


@pytest.mark.parametrize(
    ("mhz", "controlled", "general"),
    [
        (0.3, (614, 1.63, 6), (614, 1.63, 30)),
        (0.5, (614, 1.63, 6), (614, 1.63, 30)),
        (1.35, (614, 1.63, 6), (824 / 1.35, 2.19 / 1.35, 30)),
        (3.01, (1842 / 3.01, 4.89 / 3.01, 6), (824 / 3.01, 2.19 / 3.01, 30)),
        (10, (184.2, 0.489, 6), (82.4, 0.219, 30)),
        (30.1, (61.4, 0.163, 6), (27.5, 0.073, 30)),
        (145, (61.4, 0.163, 6), (27.5, 0.073, 30)),
        (300.1, (None, None, 6), (None, None, 30)),
        (432, (None, None, 6), (None, None, 30)),
        (100_000, (None, None, 6), (None, None, 30)),
    ],
)
def test_field_strength_limits(
    mhz: float, controlled: tuple[float | None, ...], general: tuple[float | None, ...]
) -> None:
    for who, expected in (("controlled", controlled), ("general", general)):
        found = exposure.fcc_limit(mhz * 1e6, "general" if who == "general" else "controlled")
        assert (found.e_v_per_m, found.h_a_per_m, found.averaging_min) == pytest.approx(expected)


@pytest.mark.parametrize("mhz", [0.299, 100_001])
def test_outside_the_tables_there_is_no_limit(mhz: float) -> None:
    with pytest.raises(ValueError, match=rf"no limit at {mhz:g} MHz".replace("+", r"\+")):
        exposure.fcc_limit(mhz * 1e6, "general")


def test_limits_are_continuous_at_30_mhz() -> None:
    for who, expected in (("controlled", 10.0), ("general", 2.0)):
        population: exposure.Population = "general" if who == "general" else "controlled"
        below, above = (exposure.fcc_limit(hz, population).plane_wave_w_per_m2 for hz in (29.9999999e6, 30e6))
        assert below == pytest.approx(above, rel=1e-6) == expected


@pytest.mark.parametrize(
    ("pep_w", "duty", "on_min", "off_min", "window_min", "average_w"),
    [
        # n1fd.org, February 1998, on Supplement B
        (1000, 0.2, 3, 3, 6, 100), (1000, 0.2, 3, 3, 30, 100),
        # cgfar.com, credited there to the ARRL
        (1500, 0.2, 10, 10, 30, 200), (1500, 0.4, 10, 10, 30, 400), (1500, 1.0, 10, 10, 30, 1000),
        (1500, 0.2, 10, 10, 6, 300),
    ],
)  # fmt: skip
def test_average_power(
    pep_w: float, duty: float, on_min: float, off_min: float, window_min: float, average_w: float
) -> None:
    share = exposure.sending_share(on_min, off_min, window_min)
    assert exposure.average_power_w(pep_w, duty, share) == pytest.approx(average_w)


def test_patterns_and_powers_that_cannot_be_are_refused() -> None:
    # sending without a pause, and not at all, can be
    assert exposure.sending_share(0.25, 0, 6) == 1
    assert exposure.sending_share(0.25, 0.5, 0.75) == pytest.approx(1 / 3)
    assert exposure.average_power_w(0.5, 1, 0.5) == 0.25
    assert (
        exposure.average_power_w(0, 1, 1)
        == exposure.average_power_w(10, 0, 1)
        == exposure.average_power_w(10, 1, 0)
        == 0
    )
    for on_min, off_min, window_min in ((0, 1, 6), (-1, 1, 6), (1, -1, 6), (1, 1, 0)):
        with pytest.raises(ValueError, match=f"{on_min} min on, {off_min} min off, window {window_min} min"):
            exposure.sending_share(on_min, off_min, window_min)
    for pep_w, duty, share in ((-1, 1, 1), (1, -0.1, 1), (1, 1.1, 1), (1, 1, -0.1), (1, 1, 1.1)):
        with pytest.raises(ValueError, match=f"power {pep_w} W, duty {duty} or share {share} is out of range"):
            exposure.average_power_w(pep_w, duty, share)
    assert exposure.power_density_w_per_m2(1, 0.5) == pytest.approx(4 * exposure.power_density_w_per_m2(1, 1))
    for distance_m in (0, -1):
        with pytest.raises(ValueError, match=f"distance {distance_m} m is not positive"):
            exposure.power_density_w_per_m2(1, distance_m)


def test_worksheet_with_a_line() -> None:
    # worksheet revision C, November 1997: 1,500 W, 0.8 dB line loss, duty 0.4, half the time
    at_antenna_w = 1500 * db_to_ratio(-0.8)
    assert at_antenna_w == pytest.approx(1248, abs=0.5)
    assert exposure.average_power_w(at_antenna_w, 0.4, 0.5) == pytest.approx(250, abs=0.5)


@pytest.mark.parametrize(
    ("power_w", "controlled_ft", "general_ft"),
    # a printed table, 144 MHz, 24 dBi, ground reflection; it truncates, and its 500 W and 150 W ends are cut off
    [(500, 166.0, 371.1), (1500, 287.4, 642.7), (150, 90.9, 203.3)],
)
def test_two_metre_table(power_w: float, controlled_ft: float, general_ft: float) -> None:
    found = exposure.distances(power_w, 24, 144e6)
    assert found.controlled_m / FOOT_M == pytest.approx(controlled_ft, abs=0.06)
    assert found.general_m / FOOT_M == pytest.approx(general_ft, abs=0.06)


def test_worked_example_at_29_mhz() -> None:
    # openly licensed implementation, its README: 100 W × 50 % × 20 %, 2.2 dBi, 29 MHz, 6 ft, ground reflection
    average_w = exposure.average_power_w(100, 0.2, 0.5)
    density = exposure.power_density_w_per_m2(average_w * db_to_ratio(2.2), 6 * FOOT_M)
    assert density / 10 == pytest.approx(0.1010875509909991, rel=1e-12)
    limits = [exposure.fcc_limit(29e6, who).plane_wave_w_per_m2 / 10 for who in ("controlled", "general")]
    assert limits == pytest.approx([1.070154577883472, 0.2140309155766944], rel=1e-12)
    found = exposure.distances(average_w, 2.2, 29e6)
    assert found.controlled_m / FOOT_M == pytest.approx(1.84406757341948, rel=1e-12)
    assert found.general_m / FOOT_M == pytest.approx(4.123460449269042, rel=1e-12)


def test_worked_example_at_75_metres() -> None:
    # a calculator page on qsl.net: 1,500 W, 2.20 dBi, 3.75 MHz, 100 ft; the page rounds on the way: 2 %
    density = exposure.power_density_w_per_m2(1500 * db_to_ratio(2.2), 100 * FOOT_M)
    assert density / 10 == pytest.approx(0.0546, abs=0.00005)
    found = exposure.distances(1500, 2.2, 3.75e6)
    assert found.controlled_m / FOOT_M == pytest.approx(2.97, rel=0.02)
    assert found.general_m / FOOT_M == pytest.approx(6.58, rel=0.02)


@pytest.mark.parametrize(
    (
        "power_w",
        "gain_dbi",
        "at_m",
        "mhz",
        "reflection",
        "density",
        "controlled",
        "general",
        "controlled_ft",
        "general_ft",
    ),
    [
        # test set of the openly licensed implementation, 5 %
        (123, 2, 10, 420, True, 0.0398, 1.41, 0.29, 5.58, 12.41),
        (456, 3, 17, 123, True, 0.0642, 1.01, 0.21, 14.17, 31.63),
        (1500, 2.2, 2, 146, False, 4.9525, 1.01, 0.21, 14.65, 32.7),
        (200, 2.2, 2, 3.9, True, 1.6905, 59.18, 11.84, 1.16, 2.53),
        (200, 2.2, 2, 10.110, True, 1.6905, 8.81, 1.77, 2.93, 6.48),
    ],
)
def test_set_of_an_open_implementation(
    power_w: float,
    gain_dbi: float,
    at_m: float,
    mhz: float,
    reflection: bool,
    density: float,
    controlled: float,
    general: float,
    controlled_ft: float,
    general_ft: float,
) -> None:
    eirp_w = power_w * db_to_ratio(gain_dbi)
    found = exposure.distances(power_w, gain_dbi, mhz * 1e6, ground_reflection=reflection)
    assert exposure.power_density_w_per_m2(eirp_w, at_m, ground_reflection=reflection) / 10 == pytest.approx(
        density, rel=0.05
    )
    assert exposure.fcc_limit(mhz * 1e6, "controlled").plane_wave_w_per_m2 / 10 == pytest.approx(controlled, rel=0.05)
    assert exposure.fcc_limit(mhz * 1e6, "general").plane_wave_w_per_m2 / 10 == pytest.approx(general, rel=0.05)
    assert found.controlled_m / FOOT_M == pytest.approx(controlled_ft, rel=0.05)
    assert found.general_m / FOOT_M == pytest.approx(general_ft, rel=0.05)


#: metres controlled/general by the method of Supplement B, full duty, ground reflection, for 100, 500, 1000, 1500 W
TABLE: dict[tuple[float, float], list[str | None]] = {
    (2, 0): ["0.14/0.21", None, None, "0.55/0.82"],
    (4, 2): ["0.24/0.54", "0.54/1.20", "0.76/1.69", "0.93/2.07"],
    (7.3, 2): ["0.44/0.98", "0.98/2.19", "1.38/3.09", "1.69/3.79"],
    (14.35, 2): ["0.86/1.92", "1.92/4.30", "2.72/6.08", "3.33/7.44"],
    (21.45, 2): ["1.28/2.87", "2.87/6.42", "4.06/9.08", "4.98/11.13"],
    (29.7, 2): ["1.78/3.98", "3.98/8.89", "5.63/12.58", "6.89/15.41"],
    (14, 6.5): ["1.41/3.15", "3.15/7.04", "4.45/9.95", "5.45/12.19"],
    (21, 7): ["2.24/5.00", "5.00/11.18", "7.07/15.82", "8.66/19.37"],
    (28, 8): ["3.35/7.48", "7.48/16.73", "10.58/23.66", "12.96/28.98"],
}


@pytest.mark.parametrize(("mhz", "gain_dbi"), TABLE)
def test_table_of_distances(mhz: float, gain_dbi: float) -> None:
    for power_w, cell in zip((100, 500, 1000, 1500), TABLE[mhz, gain_dbi], strict=True):
        if cell is not None:
            found = exposure.distances(power_w, gain_dbi, mhz * 1e6)
            assert f"{found.controlled_m:.2f}/{found.general_m:.2f}" == cell


def test_distance_grows_with_the_root_of_the_power_and_by_root_five_for_the_public() -> None:
    low, high = (exposure.distances(power_w, 2, 14.1e6) for power_w in (25, 100))
    assert high.general_m == pytest.approx(2 * low.general_m)
    assert high.general_m == pytest.approx(5**0.5 * high.controlled_m)


def test_exemption() -> None:
    assert exposure.exempt_erp_w(1, 444e6) == pytest.approx(5.6832)
    assert exposure.exempt_erp_w(5, 28.1e6) == pytest.approx(109.23, abs=0.005)
    assert exposure.exempt_erp_w(10, 14.1e6) == pytest.approx(1735.3, abs=0.05)
    assert exposure.exempt_erp_w(3, 144e6) == pytest.approx(3.83 * 9)
    assert exposure.exempt_erp_w(60, 1.2e6) == pytest.approx(1920 * 3600)
    assert exposure.exempt_erp_w(1, 2.4e9) == pytest.approx(19.2)
    assert exposure.exempt_erp_w(1, 1500.9e6) == pytest.approx(19.2)
    assert exposure.exempt_erp_w(40, 1.9e6) == pytest.approx(3450 / 1.9**2 * 1600)
    assert exposure.exempt_erp_w(5, 30.9e6) == pytest.approx(3.83 * 25)
    assert exposure.exempt_erp_w(1, 300.9e6) == pytest.approx(0.0128 * 300.9)
    assert exposure.exempt_erp_w(200, 0.3e6) == pytest.approx(1920 * 200**2)
    assert exposure.exempt_erp_w(1, 100e9) == pytest.approx(19.2)
    assert exposure.exempt_erp_w(1, 100.001e9) is None
    nearest_m = exposure.far_field_m(14.1e6)
    assert exposure.exempt_erp_w(nearest_m, 14.1e6) == pytest.approx(3450 / 14.1**2 * nearest_m**2)
    assert exposure.exempt_erp_w(10, 1.9e6) is None
    assert exposure.exempt_erp_w(1e6, 0.2e6) is None


def test_near_field_ends_at_the_wavelength_over_two_pi() -> None:
    found = [exposure.far_field_m(mhz * 1e6) for mhz in (28.1, 14.1, 1.9)]
    assert found == pytest.approx([1.698, 3.384, 25.1], abs=0.02)
    assert exposure.erp_w(164) == pytest.approx(100)
    assert exposure.distances(100, 2, 14.1e6).far_field_m == exposure.far_field_m(14.1e6)


def test_the_ground_is_taken_to_reflect_unless_said_otherwise() -> None:
    # OET Bulletin 65: the reflection strengthens the field 1.6 times
    assert exposure.distance_m(100, 2) == pytest.approx(1.6 * exposure.distance_m(100, 2, ground_reflection=False))
    density = exposure.power_density_w_per_m2(100, 3)
    assert density == pytest.approx(1.6**2 * exposure.power_density_w_per_m2(100, 3, ground_reflection=False))
