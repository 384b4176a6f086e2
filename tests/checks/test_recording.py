"""Recording a check: what it comes to, what is kept, what is refused."""

from __future__ import annotations

import pytest

from lab.checks.models import ArtefactCheck

pytestmark = pytest.mark.django_db


def test_the_same_form_sent_twice_is_one_check(check) -> None:
    made = check()
    assert check().pk == made.pk
    assert ArtefactCheck.objects.count() == 1
