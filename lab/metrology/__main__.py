"""Print the validation report: the core's answers beside published ones.

``python -m lab.metrology`` prints it; ``--markdown FILE`` also writes it as a
document that a laboratory can date, sign and file as validation of the software
(ISO/IEC 17025:2017, 7.11.2). The exit status is 0 only if every case passes.
"""

from __future__ import annotations

import argparse
import hashlib
import platform
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy
import scipy

from lab.metrology.errors import MetrologyError
from lab.metrology.validation import (
    PUBLISHED,
    STATUSES,
    Comparison,
    Outcome,
    Validation,
    load_cases,
    load_runners,
    validate,
)

_CORE = Path(__file__).resolve().parent
_CASES = _CORE.parents[1] / "tests" / "metrology" / "cases"


def _digest(files: Iterable[Path], base: Path) -> str:
    """Return one SHA-256 over the names and contents of files."""
    whole = hashlib.sha256()
    for path in sorted(files):
        whole.update(path.relative_to(base).as_posix().encode() + b"\0")
        whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()


def _environment(cases: Path) -> dict[str, str]:
    """Return what identifies the software that was validated."""
    return {
        "Core, SHA-256": _digest(_CORE.rglob("*.py"), _CORE),
        "Cases, SHA-256": _digest(cases.glob("*.json"), cases),
        "Python": platform.python_version(),
        "NumPy": numpy.__version__,
        "SciPy": scipy.__version__,
        "Platform": f"{platform.system()} {platform.machine()}",
    }


def _verdict(comparison: Comparison) -> str:
    if comparison.passed:
        return "pass"
    return "known difference" if comparison.expected.known_difference else "FAIL"


def _figures(comparison: Comparison) -> tuple[str, str, str, str, str, str]:
    return (
        comparison.expected.name,
        f"{comparison.expected.value:.15g}",
        f"{comparison.expected.tolerance:.3g}",
        f"{comparison.got:.15g}",
        f"{comparison.difference:+.3g}",
        _verdict(comparison),
    )


def _summary(validation: Validation) -> list[tuple[str, str, str, str]]:
    """Return status, cases, values and failed values, one row a status."""
    rows = []
    for status in STATUSES:
        outcomes = validation.with_status(status)
        values = [each for outcome in outcomes for each in outcome.comparisons]
        failed = sum(not each.passed for each in values)
        rows.append((status, str(len(outcomes)), str(len(values)), str(failed)))
    return rows


def _total(validation: Validation) -> str:
    published = len(validation.with_status(PUBLISHED))
    word = "All cases pass." if validation.passed else "NOT ALL CASES PASS."
    return (
        f"{word} {published} of {len(validation.outcomes)} cases compare with "
        f"published figures (status {PUBLISHED}); the others are no published figures, "
        "and each says what it rests on."
    )


def _reasons(outcome: Outcome) -> Iterator[str]:
    for each in outcome.comparisons:
        if each.expected.known_difference:
            yield f"{each.expected.name}: {each.expected.known_difference}"


def _plain(validation: Validation, environment: dict[str, str]) -> Iterator[str]:
    for status, meaning in STATUSES.items():
        outcomes = validation.with_status(status)
        if not outcomes:
            continue
        yield f"{status}: {meaning}"
        yield "=" * 88
        for outcome in outcomes:
            yield f"{outcome.case.identifier}: {outcome.case.title}"
            yield f"  source: {outcome.case.source}"
            if outcome.case.status_detail:
                yield f"  status: {outcome.case.status_detail}"
            for comparison in outcome.comparisons:
                name, value, tolerance, got, difference, verdict = _figures(comparison)
                yield (
                    f"  {name:<22} expected {value:>20} ± {tolerance:<9} "
                    f"got {got:>20} difference {difference:>10}  {verdict}"
                )
            yield from (f"  {reason}" for reason in _reasons(outcome))
            yield ""
    for status, cases, values, failed in _summary(validation):
        yield f"{status:<20} {cases:>4} cases {values:>5} values {failed:>4} failed"
    yield ""
    yield from (f"{name:<16} {value}" for name, value in environment.items())
    yield _total(validation)


def _row(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _markdown_case(outcome: Outcome) -> Iterator[str]:
    case = outcome.case
    yield f"### {case.identifier}: {case.title}"
    yield ""
    yield f"Source: {case.source}."
    if case.status_detail:
        yield f"Status: {case.status_detail}."
    if case.notes:
        yield f"Notes: {case.notes}"
    yield ""
    yield _row(("value", "expected", "tolerance", "got", "difference", "verdict"))
    yield "| --- | ---: | ---: | ---: | ---: | --- |"
    yield from (_row(_figures(comparison)) for comparison in outcome.comparisons)
    yield ""
    yield from (f"Known difference in {reason}" for reason in _reasons(outcome))


def _markdown(validation: Validation, environment: dict[str, str]) -> Iterator[str]:
    yield "# Validation of the computations"
    yield ""
    yield (
        "Record of software validation to ISO/IEC 17025:2017, 7.11.2: what the "
        "software computes, beside published and derived values."
    )
    yield ""
    yield _total(validation)
    yield ""
    yield _row(("status", "meaning", "cases", "values", "failed"))
    yield "| --- | --- | ---: | ---: | ---: |"
    for status, cases, values, failed in _summary(validation):
        yield _row((status, STATUSES[status], cases, values, failed))
    yield ""
    yield _row(("software", "version"))
    yield "| --- | --- |"
    yield from (_row((name, value)) for name, value in environment.items())
    yield ""
    yield _row(("run on (date)", "run by", "reviewed by"))
    yield "| --- | --- | --- |"
    yield _row((" ", " ", " "))
    yield ""
    for status in STATUSES:
        outcomes = validation.with_status(status)
        if outcomes:
            yield f"## {status}"
            yield ""
            for outcome in outcomes:
                yield from _markdown_case(outcome)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run every case, print the report, and return the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m lab.metrology", description=(__doc__ or "").partition("\n")[0]
    )
    parser.add_argument("--cases", type=Path, default=_CASES, help="folder of cases")
    parser.add_argument("--markdown", type=Path, help="also write the report here")
    options = parser.parse_args(arguments)
    try:
        validation = validate(load_cases(options.cases), load_runners())
    except MetrologyError as problem:
        sys.stderr.write(f"{problem}\n")
        return 2
    environment = _environment(options.cases)
    sys.stdout.write("\n".join(_plain(validation, environment)) + "\n")
    if options.markdown:
        text = "\n".join(_markdown(validation, environment)).rstrip() + "\n"
        options.markdown.write_text(text, encoding="utf-8")
    return 0 if validation.passed else 1


if __name__ == "__main__":
    sys.exit(main())
