"""A page's zone is its own: the thread that served it goes back to UTC."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

pytestmark = pytest.mark.django_db


def test_the_zone_of_a_page_does_not_outlive_it(people, sign_in) -> None:
    client = sign_in(Client(), people.technician)
    with timezone.override("Asia/Tokyo"):
        client.get(reverse("customers:list"))
        assert timezone.get_current_timezone_name() == "UTC"
