"""What is worked, needed and confirmed."""

from __future__ import annotations

from watchkeeper.store.worked import ALL, Dimension, Need, Scope, WorkedIndex, facts

AT_MS = 1_777_670_100_000  # 2026-05-01 21:15:00 UTC
HOUR_MS = 3_600_000


def index(*worked: tuple[str, str, str], confirmed: bool = False) -> WorkedIndex:
    made = WorkedIndex()
    for call, band, mode in worked:
        made.add(facts(call, "FN42"), band, mode, AT_MS, confirmed)
    return made


def test_a_call_counts_by_all_that_it_tells() -> None:
    """Entity 291 is the United States of America in ADIF's DXCC_Entity_Code table; FN42 lies in the grid of Boston."""
    values = facts("W1QSB/4", "FN42ab", "ma").values
    assert values[Dimension.CALL] == "W1QSB/4"
    assert values[Dimension.BASE] == "W1QSB"
    assert values[Dimension.ENTITY] == "291"
    assert values[Dimension.CONTINENT] == "NA"
    assert values[Dimension.LOCATOR] == "FN42"
    assert values[Dimension.STATE] == "291 MA"
    assert values[Dimension.PREFIX] == "K4"


def test_at_sea_there_is_no_entity() -> None:
    values = facts("W1QSB/MM").values
    assert Dimension.ENTITY not in values
    assert values[Dimension.BASE] == "W1QSB"


def test_worked_is_asked_by_band_and_mode() -> None:
    log = index(("W1QSB", "20m", "FT8"))
    assert log.is_worked(Dimension.CALL, "W1QSB")
    assert log.is_worked(Dimension.CALL, "W1QSB", "20m")
    assert log.is_worked(Dimension.CALL, "W1QSB", "20m", "FT8")
    assert not log.is_worked(Dimension.CALL, "W1QSB", "40m")
    assert not log.is_worked(Dimension.CALL, "W1QSB", None, "FT4")
    assert not log.is_worked(Dimension.CALL, "W1QSB/P")
    assert log.is_worked(Dimension.BASE, "W1QSB")
    assert log.where(Dimension.ENTITY, "291") == (("20m", "FT8"),)


def test_timed_data_modes_may_count_as_one() -> None:
    log = index(("W1QSB", "20m", "FT8"), ("W1QSC", "20m", "CW"))
    assert log.is_worked(Dimension.CALL, "W1QSB", "20m", "FT4", as_one=True)
    assert not log.is_worked(Dimension.CALL, "W1QSB", "20m", "CW", as_one=True)
    assert not log.is_worked(Dimension.CALL, "W1QSC", "20m", "FT8", as_one=True)


def test_what_is_needed_comes_strongest_first() -> None:
    log = index(("W1QSB", "20m", "FT8"), ("W1QSC", "40m", "FT4"))
    needs = log.needs(facts("JA1QRV"), "20m", "FT8")
    assert needs[0] == Need(Dimension.ENTITY, "339", Scope.EVER)
    assert {need.scope for need in needs} == {Scope.EVER}
    assert Need(Dimension.CALL, "JA1QRV", Scope.EVER) in needs
    assert log.needs(facts("W1QSB", "FN42"), "20m", "FT8") == ()
    entity = (Dimension.ENTITY,)
    assert log.needs(facts("W1QSB"), "15m", "FT8", entity) == (Need(Dimension.ENTITY, "291", Scope.BAND),)
    assert log.needs(facts("W1QSB"), "20m", "CW", entity) == (Need(Dimension.ENTITY, "291", Scope.MODE),)
    assert log.needs(facts("W1QSB"), "40m", "FT8", entity) == (Need(Dimension.ENTITY, "291", Scope.BAND_MODE),)
    assert log.needs(facts("W1QSB"), "15m", "CW", entity) == (
        Need(Dimension.ENTITY, "291", Scope.BAND),
        Need(Dimension.ENTITY, "291", Scope.MODE),
    )


def test_unconfirmed_is_a_need_only_for_who_asks() -> None:
    entity = (Dimension.ENTITY,)
    open_log, confirmed_log = index(("W1QSB", "20m", "FT8")), index(("W1QSB", "20m", "FT8"), confirmed=True)
    asked = facts("W1QSC")
    assert open_log.needs(asked, "20m", "FT8", entity, unconfirmed=True) == (
        Need(Dimension.ENTITY, "291", Scope.UNCONFIRMED),
    )
    assert open_log.needs(asked, "20m", "FT8", entity) == ()
    assert confirmed_log.needs(asked, "20m", "FT8", entity, unconfirmed=True) == ()
    assert confirmed_log.is_confirmed(Dimension.ENTITY, "291", "20m")
    assert not confirmed_log.is_confirmed(Dimension.ENTITY, "291", "40m")


def test_the_day_ends_at_midnight_utc() -> None:
    log = index(("W1QSB", "20m", "FT8"))
    assert log.worked_today("W1QSB", "20m", "FT8", AT_MS + HOUR_MS)
    assert not log.worked_today("W1QSB", "20m", "FT8", AT_MS + 3 * HOUR_MS)  # 00:15 UTC of the next day
    assert not log.worked_today("W1QSB", "40m", "FT8", AT_MS)


def test_the_session_knows_its_own() -> None:
    log = index(("W1QSB", "20m", "FT8"))
    log.begin_session()
    assert not log.worked_this_session("W1QSB", "20m", "FT8")
    log.add(facts("W1QSB/P"), "20m", "FT8", AT_MS)
    assert log.worked_this_session("W1QSB", "20m", "FT8")


def test_what_is_like_an_earlier_one_does_not_count_again() -> None:
    log = index(("W1QSB", "20m", "FT8"))
    log.add(facts("W1QSB"), "20m", "FT8", AT_MS, counts=False)
    assert log.count == 1
    assert log.size(Dimension.CALL) == 1


def test_it_comes_back_from_its_dump() -> None:
    log = index(("W1QSB", "20m", "FT8"), ("JA1QRV", "40m", "FT4"), ("W1QSB/P", "20m", "CW"), confirmed=True)
    again = WorkedIndex.load(log.dump())
    assert again is not None
    assert again.count == 3
    assert all(again.size(dimension) == log.size(dimension) for dimension in ALL)
    assert again.where(Dimension.BASE, "W1QSB") == (("20m", "CW"), ("20m", "FT8"))
    assert again.is_confirmed(Dimension.ENTITY, "339", "40m", "FT4")
    assert again.worked_today("JA1QRV", "40m", "FT4", AT_MS)
    again.add(facts("W1QSC"), "20m", "FT8", AT_MS)
    assert again.is_worked(Dimension.CALL, "W1QSC", "20m", "FT8")
    assert WorkedIndex.load(b"of another release") is None
