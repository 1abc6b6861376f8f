"""Judges plugins rule by rule. Each trial runs in a process of its own, so that exits and hangs are only findings."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from ..host.discovery import Candidate
from .target import find
from .trial import Rules

TRIAL_S = 60.0
_HUNG = "it did not come back"


class Verdict(StrEnum):
    """How a rule came out."""

    DONE = "done"
    FAILED = "failed"
    UNTRIED = "untried"  # an earlier rule was broken, and without it there is nothing to try


class Check(NamedTuple):
    """One rule and how it came out; ``why`` says what is wrong."""

    rule: str
    verdict: Verdict
    why: str = ""


class Judged(NamedTuple):
    """One plugin and all its rules."""

    name: str
    distribution: str | None
    version: str | None
    checks: tuple[Check, ...]

    @property
    def passed(self) -> bool:
        """Whether every rule is kept."""
        return all(check.verdict is Verdict.DONE for check in self.checks)


class _Trial(NamedTuple):
    """A kind of trial: the rules that it tells of, and which of them a hang is against."""

    kind: str
    rules: tuple[str, ...]
    hangs: str


_FIT = _Trial("fit", (Rules.METADATA, Rules.IMPORTS, Rules.CONFIG, Rules.HOOKS), "")
_BUSY = _Trial("busy", (Rules.FAULTS, Rules.TIME, Rules.VIEWS, Rules.HAILS), Rules.TIME)
_LIVE = _Trial("live", (Rules.START, Rules.BACKGROUND, Rules.BLOCKING, Rules.STOP), Rules.BLOCKING)

#: all rules, in the order of the report
RULES = (*_FIT.rules, *_BUSY.rules, Rules.DETERMINISM, *_LIVE.rules)


class _Outcome(NamedTuple):
    checks: tuple[Check, ...]
    digest: str | None

    @property
    def kept(self) -> bool:
        return all(check.verdict is Verdict.DONE for check in self.checks)


def judge(target: str, trial_s: float = TRIAL_S) -> list[Judged]:
    """Judge every plugin at ``target`` (see :func:`watchkeeper.authoring.target.find`); raises TargetError.

    A trial that is not over after ``trial_s`` seconds is ended and held against the plugin.
    """
    return [_judge(target, candidate, trial_s) for candidate in find(target)]


def _judge(target: str, candidate: Candidate, trial_s: float) -> Judged:
    checks = {rule: Check(rule, Verdict.UNTRIED) for rule in RULES}

    def tried(trial: _Trial, hash_seed: int = 0) -> _Outcome:
        outcome = _try(trial, target, candidate.name, trial_s, hash_seed)
        checks.update({check.rule: check for check in outcome.checks})
        return outcome

    if tried(_FIT).kept:
        first = tried(_BUSY, hash_seed=1)
        if first.digest is not None:  # it came through alive
            again = _try(_BUSY, target, candidate.name, trial_s, hash_seed=2)
            checks[Rules.DETERMINISM] = _determinism(first, again)
            tried(_LIVE)
    return Judged(candidate.name, candidate.distribution, candidate.version, tuple(checks.values()))


def _determinism(first: _Outcome, again: _Outcome) -> Check:
    if first.digest == again.digest:
        return Check(Rules.DETERMINISM, Verdict.DONE)
    why = "the same events gave other hails or views in a second run, with another PYTHONHASHSEED and at another time"
    return Check(Rules.DETERMINISM, Verdict.FAILED, why)


def _try(trial: _Trial, target: str, name: str, trial_s: float, hash_seed: int = 0) -> _Outcome:
    with tempfile.TemporaryDirectory() as folder:
        result = Path(folder) / "result"
        ended = _run((trial.kind, target, name, str(result)), trial_s, hash_seed)
        lines = result.read_bytes().splitlines() if result.exists() else []
    told: list[dict[str, str]] = [msgspec.json.decode(line) for line in lines]
    whys = {line["rule"]: line["why"] for line in told if "rule" in line}
    digest = next((line["digest"] for line in told if "digest" in line), None)
    return _Outcome(tuple(_checks(trial, whys, ended)), digest)


def _run(arguments: Sequence[str], trial_s: float, hash_seed: int) -> str:
    """Run one trial; how its process ended: what to say of it where it has not told of every rule."""
    command = [sys.executable, "-P", "-m", "watchkeeper.authoring.trial", *arguments]
    environment = {**os.environ, "PYTHONHASHSEED": str(hash_seed)}
    quiet: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
    try:
        done = subprocess.run(command, env=environment, timeout=trial_s, check=False, **quiet)  # noqa: S603 our own
    except subprocess.TimeoutExpired:
        return f"{_HUNG} within {trial_s:g} s"
    last = done.stderr.decode(errors="replace").strip().splitlines()[-1:]
    return f"its process ended with status {done.returncode}" + "".join(f": {line}" for line in last)


def _checks(trial: _Trial, whys: dict[str, str], ended: str) -> list[Check]:
    """The rules of a trial. An early end is against the rule that was on trial, unless a rule before is broken."""
    missing = [rule for rule in trial.rules if rule not in whys]
    guilty = None if any(whys.values()) else next(iter(missing), None)
    if ended.startswith(_HUNG) and trial.hangs in missing:
        guilty = trial.hangs
    checks = []
    for rule in trial.rules:
        why = ended if rule == guilty else whys.get(rule, "")
        untried = rule in missing and rule != guilty
        checks.append(Check(rule, Verdict.UNTRIED if untried else Verdict.FAILED if why else Verdict.DONE, why))
    return checks
