"""RF exposure beyond what is published: cross-checks, what must hold for any station, and what is refused."""

from __future__ import annotations

import pytest

from watchkeeper.radio import exposure


def test_limits_are_continuous_at_30_mhz() -> None:
    for who, expected in (("controlled", 10.0), ("general", 2.0)):
        population: exposure.Population = "general" if who == "general" else "controlled"
        below, above = (exposure.fcc_limit(hz, population).plane_wave_w_per_m2 for hz in (29.9999999e6, 30e6))
        assert below == pytest.approx(above, rel=1e-6) == expected


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


#: a cross-check and no printed table: metres controlled/general for 100, 500, 1000, 1500 W at full duty, worked out
#: apart from this program by S = 0.64·EIRP/(π·R²) in mW and cm, OET Bulletin 65's form with ground reflection. The row
#: at 2 MHz agrees with Table 4a of its Supplement B (from memory)
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
def test_distances_by_the_form_in_milliwatts_and_centimetres(mhz: float, gain_dbi: float) -> None:
    for power_w, cell in zip((100, 500, 1000, 1500), TABLE[mhz, gain_dbi], strict=True):
        if cell is not None:
            found = exposure.distances(power_w, gain_dbi, mhz * 1e6)
            assert f"{found.controlled_m:.2f}/{found.general_m:.2f}" == cell


def test_distance_grows_with_the_root_of_the_power_and_by_root_five_for_the_public() -> None:
    low, high = (exposure.distances(power_w, 2, 14.1e6) for power_w in (25, 100))
    assert high.general_m == pytest.approx(2 * low.general_m)
    assert high.general_m == pytest.approx(5**0.5 * high.controlled_m)


def test_exemptions() -> None:
    """A cross-check: FCC 19-126's formulas written out once more, and at the ends of their ranges."""
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
    """A cross-check: c/(2πf) worked out apart from this program."""
    found = [exposure.far_field_m(mhz * 1e6) for mhz in (28.1, 14.1, 1.9)]
    assert found == pytest.approx([1.698, 3.384, 25.1], abs=0.02)
    assert exposure.erp_w(164) == pytest.approx(100)
    assert exposure.distances(100, 2, 14.1e6).far_field_m == exposure.far_field_m(14.1e6)
