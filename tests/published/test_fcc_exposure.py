"""RF exposure by the FCC's rules.

* 47 CFR 1.1310: both tables, as a page that prints them in full gives them (mW/cm²; 1 mW/cm² is 10 W/m²);
* OET Bulletin 65 edition 97-01: equations and ground reflection, as manuals and an openly licensed implementation quote
  them; worked values of that implementation and of published pages, each named below;
* 47 CFR 1.1307(b)(3)(i)(C) (FCC 19-126): an exemption, from the same implementation.

The tables print formulas: the limits at single frequencies are worked out from the printed rows. Supplement B itself
was not at hand: distances by its method are a cross-check, and stand with the radio's other tests.
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


def test_worksheet_with_a_line() -> None:
    # worksheet revision C, November 1997: 1,500 W, 0.8 dB line loss, duty 0.4, half the time
    at_antenna_w = 1500 * db_to_ratio(-0.8)
    assert at_antenna_w == pytest.approx(1248, abs=0.5)
    assert exposure.average_power_w(at_antenna_w, 0.4, 0.5) == pytest.approx(250, abs=0.5)


@pytest.mark.parametrize(
    ("power_w", "controlled_ft", "general_ft"),
    # a printed table in whole feet, 144 MHz, 24 dBi, ground reflection; the copy at hand has lost the last figure's end
    [(500, 166, 371), (1500, 287, 642), (150, 90, None)],
)
def test_two_metre_table(power_w: float, controlled_ft: int, general_ft: int | None) -> None:
    found = exposure.distances(power_w, 24, 144e6)
    assert found.controlled_m / FOOT_M == pytest.approx(controlled_ft, abs=1)
    if general_ft is not None:
        assert found.general_m / FOOT_M == pytest.approx(general_ft, abs=1)


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


def test_exemption() -> None:
    # the openly licensed implementation's own check, 1 m at 444 MHz
    assert exposure.exempt_erp_w(1, 444e6) == pytest.approx(5.6832)


def test_the_ground_is_taken_to_reflect_unless_said_otherwise() -> None:
    # OET Bulletin 65: the reflection strengthens the field 1.6 times
    assert exposure.distance_m(100, 2) == pytest.approx(1.6 * exposure.distance_m(100, 2, ground_reflection=False))
    density = exposure.power_density_w_per_m2(100, 3)
    assert density == pytest.approx(1.6**2 * exposure.power_density_w_per_m2(100, 3, ground_reflection=False))
