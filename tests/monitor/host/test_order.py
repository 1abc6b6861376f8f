"""The order of plugins, for any provides and needs."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.host.fitness import NoConfig, Traits
from watchkeeper.host.order import arrange
from watchkeeper.model import Note

NOTES = [type(f"Note{number}", (Note,), {}, frozen=True, kw_only=True) for number in range(5)]
NAMES = [f"plugin_{letter}" for letter in "abcdef"]

_notes = st.lists(st.sampled_from(NOTES), max_size=2, unique=True).map(tuple)
_plugins = st.dictionaries(
    st.sampled_from(NAMES), st.builds(Traits, st.just(object), st.just(NoConfig), _notes, _notes)
)


@given(_plugins)
def test_whoever_runs_finds_its_notes_made_and_whoever_does_not_has_a_reason(plugins: dict[str, Traits]) -> None:
    names, reasons = arrange(plugins)
    assert set(names) | set(reasons) == set(plugins)
    assert not set(names) & set(reasons)
    made: set[type[Note]] = set()
    for name in names:
        assert set(plugins[name].needs) <= made
        assert not made & set(plugins[name].provides)
        made |= set(plugins[name].provides)


@given(_plugins)
def test_the_order_does_not_hang_on_the_order_of_discovery(plugins: dict[str, Traits]) -> None:
    backwards = dict(reversed(plugins.items()))
    assert arrange(backwards)[0] == arrange(plugins)[0]


@given(st.dictionaries(st.sampled_from(NAMES), st.just(Traits(object, NoConfig, (), ()))))
def test_where_nothing_decides_the_name_does(plugins: dict[str, Traits]) -> None:
    assert arrange(plugins)[0] == sorted(plugins)
