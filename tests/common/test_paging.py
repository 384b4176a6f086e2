"""Keyset pages: each row once, in order, both ways, also where instants are equal."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from lab.common.errors import NotAcceptable
from lab.common.models import AuditEntry
from lab.common.paging import KeysetPage, keyset_page

START = datetime(2026, 3, 17, 8, tzinfo=UTC)


def page(key: str | None, size: int) -> KeysetPage[AuditEntry]:
    return keyset_page(AuditEntry.objects.all(), key, by="recorded_at", size=size)


class KeysetPages(TestCase):
    @given(
        st.lists(st.integers(0, 5), max_size=25),
        st.integers(1, 7),
    )
    def test_walking_down_and_up_again_shows_each_row_once(
        self, minutes: list[int], size: int
    ) -> None:
        AuditEntry.objects.bulk_create(
            AuditEntry(
                recorded_at=START + timedelta(minutes=minute),
                verb="probe.written",
                values_text="{}",
            )
            for minute in minutes
        )
        expected = list(
            AuditEntry.objects.order_by("-recorded_at", "-pk").values_list(
                "pk", flat=True
            )
        )
        here = page(None, size)
        assert not here.has_previous
        pages = [here]
        while here.has_next:
            here = page(here.next_key, size)
            pages.append(here)
        assert [row.pk for p in pages for row in p.rows] == expected
        for earlier in reversed(pages[:-1]):
            here = page(here.previous_key, size)
            assert [r.pk for r in here.rows] == [r.pk for r in earlier.rows]
        assert not here.has_previous


@pytest.mark.django_db
@pytest.mark.parametrize(
    "key", ["nonsense", "<2026", "<2026-01-01T00:00:00,7", "=2026-01-01,x", "<,"]
)
def test_a_made_up_key_is_refused_in_words(key: str) -> None:
    with pytest.raises(NotAcceptable, match="no such address"):
        page(key, 5)
