"""The core's answers beside the published ones: one test for each expected value."""

import json
from functools import cache
from pathlib import Path

import pytest

from lab.metrology.__main__ import main
from lab.metrology.validation import (
    BadCase,
    Case,
    CasesAndRunnersDiffer,
    Outcome,
    compare,
    load_cases,
    load_runners,
    validate,
)

CASES_FOLDER = Path(__file__).parent / "cases"
CASES = {case.identifier: case for case in load_cases(CASES_FOLDER)}
RUNNERS = load_runners()


def values_of(cases: list[Case]) -> list:
    """Name each expected value, with its known difference as a strict xfail."""
    listed = []
    for case in cases:
        for each in case.expected:
            marks = ()
            if each.known_difference:
                marks = pytest.mark.xfail(strict=True, reason=each.known_difference)
            listed.append(
                pytest.param(
                    case.identifier,
                    each.name,
                    id=f"{case.identifier}-{each.name}",
                    marks=marks,
                )
            )
    return listed


@cache
def outcome_of(identifier: str) -> Outcome:
    return compare(CASES[identifier], RUNNERS[identifier])


def comparison_of(identifier: str, name: str):
    found = [
        each
        for each in outcome_of(identifier).comparisons
        if each.expected.name == name
    ]
    (comparison,) = found
    return comparison


@pytest.mark.parametrize(("identifier", "name"), values_of(list(CASES.values())))
def test_published_value(identifier, name):
    comparison = comparison_of(identifier, name)
    assert comparison.passed, (
        f"{identifier} {name}: expected {comparison.expected.value!r} ± "
        f"{comparison.expected.tolerance!r}, got {comparison.got!r}"
    )


@pytest.mark.parametrize("identifier", sorted(CASES))
def test_recomputed_values_are_reproduced(identifier):
    changed = [
        f"{each.expected.name}: was {each.expected.recomputed!r}, is {each.got!r}"
        for each in outcome_of(identifier).comparisons
        if not each.reproduced
    ]
    assert not changed, changed


def test_every_case_has_a_runner_and_every_runner_a_case():
    assert sorted(CASES) == sorted(RUNNERS)


def test_every_published_check_is_among_the_cases():
    wanted = (CASES_FOLDER / "ids.txt").read_text().split()
    assert len(wanted) == 81
    assert sorted(CASES) == sorted(wanted)


def one_case(**changes) -> dict:
    entry = {
        "id": "halves",
        "title": "Half of one",
        "source": "arithmetic",
        "status": "DERIVED",
        "inputs": {"x": 1},
        "expected": {"half": {"value": 0.5, "tol": 1e-12}},
    }
    return entry | changes


def write(folder: Path, *entries: dict) -> Path:
    content = {"topic": "Halves", "checks": list(entries)}
    (folder / "halves.json").write_text(json.dumps(content))
    return folder


def test_value_outside_its_tolerance_fails(tmp_path):
    (case,) = load_cases(write(tmp_path, one_case()))
    assert compare(case, lambda inputs: {"half": 0.5 * inputs["x"]}).passed
    assert not compare(case, lambda inputs: {"half": 0.51}).passed
    assert not compare(case, lambda inputs: {"half": float("nan")}).passed


def test_value_that_no_longer_reproduces_is_told(tmp_path):
    expected = {"half": {"value": 0.5, "tol": 0.1, "recomputed": 0.5}}
    (case,) = load_cases(write(tmp_path, one_case(expected=expected)))
    (comparison,) = compare(case, lambda inputs: {"half": 0.5001}).comparisons
    assert comparison.passed
    assert not comparison.reproduced


def test_known_difference_does_not_fail_the_report_but_is_not_passed(tmp_path):
    expected = {"half": {"value": 0.5, "tol": 0.0, "known_difference": "why"}}
    (case,) = load_cases(write(tmp_path, one_case(expected=expected)))
    outcome = compare(case, lambda inputs: {"half": 0.6})
    assert outcome.passed
    assert not outcome.comparisons[0].passed


def test_runner_with_other_names_is_refused(tmp_path):
    (case,) = load_cases(write(tmp_path, one_case()))
    with pytest.raises(CasesAndRunnersDiffer, match=r"leaves out \['half'\]"):
        compare(case, lambda inputs: {"third": 0.3})


def test_case_without_runner_and_runner_without_case_are_refused(tmp_path):
    cases = load_cases(write(tmp_path, one_case()))
    with pytest.raises(CasesAndRunnersDiffer, match="No runner for the case halves"):
        validate(cases, {})
    with pytest.raises(CasesAndRunnersDiffer, match="No case for the runner thirds"):
        validate(cases, {"halves": lambda inputs: {}, "thirds": lambda inputs: {}})


@pytest.mark.parametrize(
    ("entries", "message"),
    [
        ([one_case(source="")], "lacks 'source'"),
        ([one_case(status="SURE")], "unknown status 'SURE'"),
        ([one_case(), one_case()], "'halves' occurs twice"),
        ([one_case(expected={"half": {"value": 0.5}})], "'half' lacks 'tol'"),
        ([], "There is no case"),
    ],
)
def test_bad_case_is_refused(tmp_path, entries, message):
    with pytest.raises(BadCase, match=message):
        load_cases(write(tmp_path, *entries))


def test_unreadable_file_is_refused(tmp_path):
    (tmp_path / "broken.json").write_text("{")
    with pytest.raises(BadCase, match=r"broken\.json is no file of cases"):
        load_cases(tmp_path)


def test_report_lists_every_case_and_writes_a_document(tmp_path, capsys):
    document = tmp_path / "validation.md"
    assert main(["--markdown", str(document)]) == 0
    printed, written = capsys.readouterr().out, document.read_text()
    for case in CASES.values():
        assert f"{case.identifier}: {case.title}" in printed
        assert f"### {case.identifier}: {case.title}" in written
    assert "All cases pass." in printed
    assert "7.11.2" in written
    assert "FAIL" not in written


def test_report_of_an_empty_folder_exits_with_a_sentence(tmp_path, capsys):
    assert main(["--cases", str(tmp_path)]) == 2
    assert "There is no case in" in capsys.readouterr().err


def test_report_with_a_wrong_value_exits_with_one(tmp_path, capsys):
    for path in CASES_FOLDER.glob("*.json"):
        content = json.loads(path.read_text())
        for entry in content["checks"]:
            if entry["id"] == "mikhail-trilateration":
                entry["expected"]["x"]["value"] += 1.0
        (tmp_path / path.name).write_text(json.dumps(content))
    assert main(["--cases", str(tmp_path)]) == 1
    assert "NOT ALL CASES PASS." in capsys.readouterr().out
