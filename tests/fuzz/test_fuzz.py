"""A short slice of the fuzzing: a few inputs always, some seconds of each target in the long run."""

from __future__ import annotations

import pytest
from tests.fuzz.mutate import mutated
from tests.fuzz.targets import TARGETS

_ALWAYS = 50


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_the_first_inputs_break_nothing(name: str) -> None:
    target = TARGETS[name]
    for number in range(_ALWAYS):
        target.feed(mutated(number, target.seeds))


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(TARGETS))
def test_some_seconds_of_inputs_break_nothing(name: str) -> None:
    target = TARGETS[name]
    for number in range(_ALWAYS, _ALWAYS + target.short):
        target.feed(mutated(number, target.seeds))


def test_an_input_is_the_same_whenever_it_is_made() -> None:
    seeds = TARGETS["datagrams"].seeds
    made = [mutated(number, seeds) for number in range(200)]
    assert made == [mutated(number, seeds) for number in range(200)]
    assert len(set(made)) > 150
