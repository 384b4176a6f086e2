"""Numbers of jobs and certificates: each given once, written as wanted."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from lab.common import clock
from lab.common.errors import NotAcceptable
from lab.common.models import AuditEntry
from lab.laboratory import services
from lab.laboratory.models import NumberFormat, Site
from lab.laboratory.numbers import (
    require_pattern,
    same_numbers,
    take_number,
    written,
    year_at,
)


class Undone(Exception):
    """Falls on purpose."""


def issue_in_vain() -> None:
    with transaction.atomic():
        take_number("certificate", 2031)
        raise Undone


@pytest.mark.django_db
def test_numbers_follow_each_other_in_each_series_and_year() -> None:
    taken = [take_number("certificate", year) for year in (2031, 2031, 2032)]
    assert taken == ["C2031-0001", "C2031-0002", "C2032-0001"]
    assert take_number("job", 2031) == "J2031-0001"


@pytest.mark.django_db
def test_a_certificate_that_falls_gives_its_number_back() -> None:
    with pytest.raises(Undone):
        issue_in_vain()
    assert take_number("certificate", 2031) == "C2031-0001"


@pytest.mark.django_db(transaction=True)
def test_a_certificate_s_number_needs_a_transaction_and_a_job_s_does_not() -> None:
    with pytest.raises(RuntimeError, match="inside the transaction"):
        take_number("certificate", 2031)
    assert take_number("job", 2031) == "J2031-0001"


def test_a_changed_pattern_writes_the_next_number(laboratory: Any, people: Any) -> None:
    first = take_number("job", 2031)
    services.change_number_format(
        series="job",
        pattern="SD-{year}-{number:05d}",
        acting_user=people.administrator,
    )
    assert (first, take_number("job", 2031)) == ("J2031-0001", "SD-2031-00002")
    entry = AuditEntry.objects.order_by("pk").last()
    assert entry is not None
    assert entry.verb == "number_format.changed"
    assert '"pattern":"J{year}-{number:04d}"' in entry.values_text


def test_the_same_pattern_again_changes_nothing(laboratory: Any, people: Any) -> None:
    before = AuditEntry.objects.count()
    services.change_number_format(
        series="job", pattern="J{year}-{number:04d}", acting_user=people.quality
    )
    assert AuditEntry.objects.count() == before
    assert not NumberFormat.objects.exists()


@pytest.mark.parametrize(
    ("series", "pattern"),
    [
        ("job", "C{year}-{number:04d}"),
        ("job", "c{year}-{number}"),
        ("job", "J-{number}"),
        ("poem", "P{year}-{number}"),
    ],
)
def test_a_pattern_that_would_name_two_things_is_refused(
    series: str, pattern: str, laboratory: Any, people: Any
) -> None:
    with pytest.raises(NotAcceptable):
        services.change_number_format(
            series=series, pattern=pattern, acting_user=people.quality
        )


@pytest.mark.parametrize(
    "pattern",
    [
        "",
        "{year}",
        "{number}",
        "{year}{year}{number}",
        "{year}-{number}-{number}",
        "{year}/{number}",
        "{year} {number}",
        "{year:02d}-{number}",
        "{year}-{number:4d}",
        "{year}-{number:010d}",
        "{year}-{number!r}",
        "{year}-{number.real}",
        "{year}-{number[0]}",
        "{year}-{number}-{month}",
        "{year}-{number",
        "{}-{number}{year}",
        "{{{year}-{number}",
        "é{year}-{number}",
    ],
)
def test_a_pattern_that_is_none_is_refused(pattern: str) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        require_pattern(pattern)
    assert refusal.value.field == "pattern"


PATTERNS = st.sampled_from(
    [
        "{year}-{number:04d}",
        "A.{number}{year}",
        "{year}{number:02d}",
        "Z{number}_{year}",
    ]
)


@given(PATTERNS, st.lists(st.tuples(st.integers(2000, 2999), st.integers(1, 99999))))
def test_a_good_pattern_gives_every_number_once(
    pattern: str, numbers: list[tuple[int, int]]
) -> None:
    assert require_pattern(pattern) == pattern
    texts = {written(pattern, *one) for one in numbers}
    assert len(texts) == len(set(numbers))


def test_patterns_that_differ_in_zeros_or_case_only_are_the_same() -> None:
    assert same_numbers("A{year}-{number:04d}", "a{year}-{number}")
    assert not same_numbers("A{year}-{number}", "B{year}-{number}")


def test_the_year_is_that_of_the_site_s_own_date() -> None:
    new_year_in_the_east = datetime(2031, 12, 31, 22, 30, tzinfo=UTC)
    with clock.set_to(new_year_in_the_east):
        assert year_at(Site(time_zone="Europe/Tallinn")) == 2032
        assert year_at(Site(time_zone="Atlantic/Azores")) == 2031
