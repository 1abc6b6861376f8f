"""SWR, reflection and losses: the usual transmission-line table, as two pages print it; last decimals computed."""

from __future__ import annotations

from math import inf

import pytest

from watchkeeper.radio import link

#: SWR, reflection coefficient, reflected power %, return loss dB, mismatch loss dB
TABLE = [
    (1.1, 0.0476, 0.227, 26.444, 0.0099),
    (1.2, 0.0909, 0.826, 20.828, 0.0360),
    (1.5, 0.2000, 4.000, 13.979, 0.1773),
    (2.0, 0.3333, 11.111, 9.542, 0.5115),
    (3.0, 0.5000, 25.000, 6.021, 1.2494),
    (5.0, 0.6667, 44.444, 3.522, 2.5527),
    (10.0, 0.8182, 66.942, 1.743, 4.8073),
]


@pytest.mark.parametrize(("swr", "rho", "percent", "return_db", "mismatch_db"), TABLE)
def test_row(swr: float, rho: float, percent: float, return_db: float, mismatch_db: float) -> None:
    assert link.reflection_coefficient(swr) == pytest.approx(rho, abs=5e-5)
    assert link.reflected_fraction(swr) * 100 == pytest.approx(percent, abs=5e-4)
    assert link.return_loss_db(swr) == pytest.approx(return_db, abs=5e-4)
    assert link.mismatch_loss_db(swr) == pytest.approx(mismatch_db, abs=5e-5)
    assert link.swr_from_powers(100.0, percent) == pytest.approx(swr, rel=2e-3)


def test_ends_of_the_scale() -> None:
    assert (link.return_loss_db(1.0), link.mismatch_loss_db(1.0)) == (inf, 0.0)
    assert (link.return_loss_db(inf), link.mismatch_loss_db(inf)) == (0.0, inf)
    assert link.swr_from_powers(10.0, 0.0) == 1.0
    assert link.swr_from_powers(10.0, 10.0) == inf


def test_a_wrong_table_in_circulation_is_not_followed() -> None:
    # one published page prints 10.2 dB for SWR 1.8
    assert link.return_loss_db(1.8) == pytest.approx(10.88, abs=0.005)
