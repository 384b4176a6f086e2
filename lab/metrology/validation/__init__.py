"""Software validation: the core's answers beside published ones.

A *case* is a published check: its inputs, its expected values with tolerances,
and its source, kept as figures in a JSON file beside the tests. A *runner* turns
the inputs of one case into the computed values, by the public functions of
``lab.metrology`` only. Each topic has a file of cases (``networks.json``) and a
module of runners here (``networks.py``, with a table ``CHECKS``). This package
brings the two together and compares.

A laboratory validates the software that it uses (ISO/IEC 17025:2017, 7.11.2);
``python -m lab.metrology --markdown FILE`` writes what is compared here as a
document that can be filed for that purpose.
"""

from __future__ import annotations

import json
import math
import pkgutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from lab.metrology.errors import MetrologyError

__all__ = [
    "PUBLISHED",
    "STATUSES",
    "BadCase",
    "Case",
    "CasesAndRunnersDiffer",
    "Comparison",
    "Expected",
    "Outcome",
    "Runner",
    "Validation",
    "compare",
    "load_cases",
    "load_runners",
    "validate",
]

Runner = Callable[[Mapping[str, Any]], Mapping[str, float]]

PUBLISHED = "CONFIRMED"
"""The only status whose expected values count as published figures."""

STATUSES: Mapping[str, str] = {
    PUBLISHED: "inputs and printed outputs were both seen, and recomputed",
    "CONFIRMED (inputs)": "inputs seen; the expected values are a recomputation",
    "CONFIRMED (rule)": "the rule was seen; the numbers that exercise it are made up",
    "FROM MEMORY": "inputs or printed outputs recalled, not seen",
    "DERIVED": "follows from a cited formula or is exact by construction",
}
"""What each status means, in the order in which a report lists them."""

# A recomputed value is printed with 12 digits, but iterative answers stop where
# their own tolerance lets them; a value beyond this share has changed.
_RECOMPUTED_RELATIVE = 1e-6
_RECOMPUTED_FLOOR = 1e-12


class BadCase(MetrologyError):
    """A file of cases cannot be read as one."""


class CasesAndRunnersDiffer(MetrologyError):
    """A case has no runner, or a runner has no case."""


@dataclass(frozen=True, slots=True)
class Expected:
    """One expected value of a case.

    ``recomputed`` is what the inputs give to 12 digits; ``known_difference`` is
    the reason why the computed value may differ, empty if it must not.
    """

    name: str
    value: float
    tolerance: float
    recomputed: float | None = None
    recomputed_tolerance: float | None = None
    known_difference: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """One published check with its source, inputs and expected values."""

    identifier: str
    topic: str
    title: str
    source: str
    status: str
    status_detail: str
    notes: str
    inputs: Mapping[str, Any]
    expected: tuple[Expected, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """One computed value beside the expected one."""

    expected: Expected
    got: float

    @property
    def difference(self) -> float:
        """Return computed minus expected."""
        return self.got - self.expected.value

    @property
    def passed(self) -> bool:
        """Say whether the difference is within the stated tolerance.

        A tolerance of half a unit of the last printed digit is met by a value
        that lies exactly on it; the slack covers the rounding of the subtraction.
        """
        slack = 4 * math.ulp(max(abs(self.got), abs(self.expected.value)))
        return abs(self.difference) <= self.expected.tolerance + (
            slack if self.expected.tolerance else 0.0
        )

    @property
    def reproduced(self) -> bool:
        """Say whether the value still is what the inputs gave when recomputed."""
        wanted = self.expected.recomputed
        if wanted is None:
            return True
        tolerance = self.expected.recomputed_tolerance
        if tolerance is None:
            tolerance = max(abs(wanted) * _RECOMPUTED_RELATIVE, _RECOMPUTED_FLOOR)
        return abs(self.got - wanted) <= tolerance


@dataclass(frozen=True, slots=True)
class Outcome:
    """One case with everything computed for it."""

    case: Case
    comparisons: tuple[Comparison, ...]

    @property
    def passed(self) -> bool:
        """Say whether every value passed or differs for a known reason."""
        return all(
            each.passed or each.expected.known_difference for each in self.comparisons
        )


@dataclass(frozen=True, slots=True)
class Validation:
    """The outcome of every case, in the order of the files."""

    outcomes: tuple[Outcome, ...]

    @property
    def passed(self) -> bool:
        """Say whether every case passed."""
        return all(outcome.passed for outcome in self.outcomes)

    def with_status(self, status: str) -> tuple[Outcome, ...]:
        """Return the outcomes of the cases that have this status."""
        return tuple(each for each in self.outcomes if each.case.status == status)


def _expected(identifier: str, name: str, entry: Mapping[str, Any]) -> Expected:
    try:
        recomputed = entry.get("recomputed")
        recomputed_tolerance = entry.get("recomputed_tol")
        return Expected(
            name=name,
            value=float(entry["value"]),
            tolerance=float(entry["tol"]),
            recomputed=None if recomputed is None else float(recomputed),
            recomputed_tolerance=(
                None if recomputed_tolerance is None else float(recomputed_tolerance)
            ),
            known_difference=entry.get("known_difference", ""),
        )
    except KeyError as missing:
        raise BadCase(
            f"Case {identifier!r}: expected value {name!r} lacks {missing}."
        ) from None


def _case(path: Path, topic: str, entry: Mapping[str, Any]) -> Case:
    identifier = entry.get("id", "")
    for key in ("id", "title", "source", "status", "inputs", "expected"):
        if not entry.get(key):
            raise BadCase(f"{path.name}: case {identifier!r} lacks {key!r}.")
    if entry["status"] not in STATUSES:
        raise BadCase(
            f"{path.name}: case {identifier!r} has the unknown status "
            f"{entry['status']!r}; known are {', '.join(STATUSES)}."
        )
    return Case(
        identifier=identifier,
        topic=topic,
        title=entry["title"],
        source=entry["source"],
        status=entry["status"],
        status_detail=entry.get("status_detail", ""),
        notes=entry.get("notes", ""),
        inputs=entry["inputs"],
        expected=tuple(
            _expected(identifier, name, value)
            for name, value in entry["expected"].items()
        ),
    )


def load_cases(folder: Path) -> tuple[Case, ...]:
    """Read every file of cases in a folder.

    Parameters
    ----------
    folder : Path
        Where the ``*.json`` files are.

    Returns
    -------
    tuple of Case
        In the order of the file names, and in each file in its own order.

    Raises
    ------
    BadCase
        If there is no file, a file or a case is incomplete, or an id occurs twice.
    """
    cases: list[Case] = []
    for path in sorted(folder.glob("*.json")):
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
            cases.extend(
                _case(path, content["topic"], entry) for entry in content["checks"]
            )
        except (json.JSONDecodeError, KeyError) as problem:
            raise BadCase(f"{path.name} is no file of cases: {problem}.") from None
    if not cases:
        raise BadCase(
            f"There is no case in {folder}. The cases are part of the source "
            "checkout (tests/metrology/cases); name their folder with --cases."
        )
    seen: set[str] = set()
    for case in cases:
        if case.identifier in seen:
            raise BadCase(f"Case {case.identifier!r} occurs twice.")
        seen.add(case.identifier)
    return tuple(cases)


def load_runners() -> dict[str, Runner]:
    """Collect the runners of every topic module in this package.

    Returns
    -------
    dict of str to Runner
        Case id to the function that computes its values.

    Raises
    ------
    CasesAndRunnersDiffer
        If two modules run the same case.
    """
    runners: dict[str, Runner] = {}
    for found in pkgutil.iter_modules(__path__):
        if found.name.startswith("_"):
            continue
        checks: Mapping[str, Runner] = import_module(f"{__name__}.{found.name}").CHECKS
        if twice := sorted(runners.keys() & checks.keys()):
            raise CasesAndRunnersDiffer(f"Two modules run {', '.join(twice)}.")
        runners.update(checks)
    return runners


def compare(case: Case, runner: Runner) -> Outcome:
    """Run one case and set each computed value beside the expected one.

    Parameters
    ----------
    case : Case
        What to compute.
    runner : Runner
        The function that computes it.

    Returns
    -------
    Outcome
        One comparison for each expected value, in their order.

    Raises
    ------
    CasesAndRunnersDiffer
        If the runner returns other names than the case expects.
    """
    got = runner(case.inputs)
    names = [each.name for each in case.expected]
    if set(names) != set(got):
        missing = sorted(set(names) - set(got))
        extra = sorted(set(got) - set(names))
        raise CasesAndRunnersDiffer(
            f"The runner of {case.identifier!r} leaves out {missing} and adds {extra}."
        )
    return Outcome(
        case, tuple(Comparison(each, float(got[each.name])) for each in case.expected)
    )


def validate(cases: Iterable[Case], runners: Mapping[str, Runner]) -> Validation:
    """Compare every case with what its runner computes.

    Parameters
    ----------
    cases : iterable of Case
        The published checks.
    runners : mapping of str to Runner
        Case id to runner.

    Returns
    -------
    Validation
        The outcome of every case.

    Raises
    ------
    CasesAndRunnersDiffer
        If a case has no runner or a runner no case.
    """
    listed = tuple(cases)
    identifiers = {case.identifier for case in listed}
    if without := sorted(identifiers - runners.keys()):
        raise CasesAndRunnersDiffer(f"No runner for the case {', '.join(without)}.")
    if without := sorted(runners.keys() - identifiers):
        raise CasesAndRunnersDiffer(f"No case for the runner {', '.join(without)}.")
    return Validation(tuple(compare(case, runners[case.identifier]) for case in listed))
