"""Numbers without gap or double, whoever fails in between."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import pytest
from django.db import transaction

from lab.common.models import NumberSeries
from lab.common.numbering import next_number

InThreads = Callable[[Sequence[Callable[[], object]]], list[BaseException]]


class Failure(Exception):
    """What goes wrong after a number was taken."""


PROJECT = Path(__file__).resolve().parents[2]


@pytest.mark.django_db
def test_numbers_count_up_by_series_and_year() -> None:
    assert [next_number("certificates", 2026) for _ in range(3)] == [1, 2, 3]
    assert next_number("certificates", 2027) == 1
    assert next_number("jobs", 2026) == 1


@pytest.mark.django_db(transaction=True)
def test_a_number_outside_a_transaction_is_refused() -> None:
    with pytest.raises(RuntimeError, match="inside the transaction"):
        next_number("certificates", 2026)


@pytest.mark.django_db(transaction=True)
def test_a_failed_transaction_gives_its_number_back() -> None:
    with transaction.atomic():
        next_number("certificates", 2026)
    assert take_or_fail(fail=True) is None
    with transaction.atomic():
        assert next_number("certificates", 2026) == 2


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgres
def test_eight_threads_and_failures_leave_neither_gap_nor_double(
    on_postgres: None, in_threads: InThreads
) -> None:
    taken: list[int] = []

    def take(thread: int) -> None:
        kept = turn = 0
        while kept < 50:
            turn += 1
            number = take_or_fail(fail=(turn + thread) % 3 == 0)
            if number is not None:
                taken.append(number)
                kept += 1

    assert in_threads([partial(take, n) for n in range(8)]) == []
    assert sorted(taken) == [*range(1, 401)]


def take_or_fail(*, fail: bool) -> int | None:
    try:
        with transaction.atomic():
            number = next_number("certificates", 2026)
            if fail:
                raise Failure
    except Failure:
        return None
    return number


TAKER = """
import django, sys
django.setup()
from django.db import transaction
from lab.common.numbering import next_number
for turn in range(int(sys.argv[1])):
    try:
        with transaction.atomic():
            number = next_number("certificates", 2026)
            if turn % 4 == 3:
                raise LookupError
    except LookupError:
        continue
    print(number)
"""


def test_two_processes_on_sqlite_leave_neither_gap_nor_double(tmp_path: Path) -> None:
    environment = {
        **os.environ,
        "UNBROKEN_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "lab.settings",
        "DATABASE_URL": "",
    }
    manage = [sys.executable, str(PROJECT / "manage.py"), "migrate", "common"]
    subprocess.run(
        manage, cwd=PROJECT, env=environment, check=True, capture_output=True
    )
    takers = [
        subprocess.Popen(
            [sys.executable, "-c", TAKER, "80"],
            cwd=PROJECT,
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    taken = [int(line) for taker in takers for line in taker.communicate()[0].split()]
    assert [taker.returncode for taker in takers] == [0, 0]
    assert sorted(taken) == [*range(1, 121)]


@pytest.mark.django_db
def test_the_counter_is_one_row_a_series_and_year() -> None:
    next_number("certificates", 2026)
    next_number("certificates", 2026)
    assert NumberSeries.objects.get().last == 2
