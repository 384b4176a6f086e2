"""A request that is too large is refused by its stated length, before it is read."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import Any, NoReturn

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import path
from django.views.decorators.http import require_POST

from lab.accounts.permissions import ANYONE, PAGES
from lab.common.uploads import FORM_ALLOWANCE, takes_upload

MEGABYTE = 1024 * 1024
reached: list[str] = []


@require_POST
@takes_upload("photo")
def take_photo(request: HttpRequest) -> HttpResponse:
    reached.append("photo")
    return HttpResponse(request.FILES["file"].size)


@takes_upload("readings")
@require_POST
def take_readings(request: HttpRequest) -> HttpResponse:
    reached.append("readings")
    return HttpResponse("taken")


def take_form(request: HttpRequest) -> HttpResponse:
    reached.append("form")
    return HttpResponse(request.POST["text"][:3])


urlpatterns = [
    path("", take_form, name="home"),
    path("photo", take_photo, name="photo"),
    path("readings", take_readings, name="readings"),
    path("form", take_form, name="form"),
]
pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]


class Unreadable(BytesIO):
    """A body of which not one byte may be read."""

    def read(self, *_args: Any) -> NoReturn:
        pytest.fail("The body was read before it was refused.")

    readline = read


@pytest.fixture(autouse=True)
def open_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("home", "photo", "readings", "form"):
        monkeypatch.setitem(PAGES, name, ANYONE)
    # The refusal's page is drawn in the real frame, whose links these urls lack.
    reached.clear()


@pytest.fixture
def stated(client: Client) -> Callable[..., HttpResponse]:
    """Return what sends a body that can't be read, and states a length for it."""

    def send(address: str, length: object) -> HttpResponse:
        return client.generic(
            "POST",
            address,
            content_type="multipart/form-data; boundary=b",
            **{"wsgi.input": Unreadable(), "CONTENT_LENGTH": str(length)},
        )  # type: ignore[return-value]

    return send


@pytest.mark.parametrize(
    ("address", "limit"),
    [
        ("/photo", settings.UPLOAD_LIMITS["photo"] + FORM_ALLOWANCE),
        ("/readings", settings.UPLOAD_LIMITS["readings"] + FORM_ALLOWANCE),
        ("/form", settings.DATA_UPLOAD_MAX_MEMORY_SIZE),
    ],
)
def test_a_body_above_the_pages_limit_is_refused_unread(
    stated: Callable[..., Any], address: str, limit: int
) -> None:
    response = stated(address, limit + 1)
    assert response.status_code == 413
    assert reached == []
    page = response.content.decode()
    assert "That is too large" in page
    assert f"at most {limit // MEGABYTE} MB" in page


def test_the_limit_itself_is_let_through(stated: Callable[..., Any]) -> None:
    response = stated("/readings", settings.UPLOAD_LIMITS["readings"])
    assert response.status_code == 200
    assert reached == ["readings"]


@pytest.mark.parametrize("length", ["none", "-1", "1e9"])
def test_a_length_that_is_none_is_no_way_round(client: Client, length: str) -> None:
    body = BytesIO(b"text=" + b"x" * 100)
    response = client.generic(
        "POST",
        "/form",
        content_type="application/x-www-form-urlencoded",
        **{"wsgi.input": body, "CONTENT_LENGTH": length},
    )
    assert response.status_code == 413
    assert reached == []


def test_an_ordinary_upload_arrives(client: Client) -> None:
    photo = SimpleUploadedFile("hub.png", b"\x89PNG" * 1000)
    response = client.post("/photo", {"file": photo})
    assert (response.status_code, response.content) == (200, b"4000")


def test_every_kind_that_a_page_names_has_a_limit() -> None:
    assert set(settings.UPLOAD_LIMITS) == {"readings", "mesh", "photo", "xml", "other"}
    assert all(limit >= MEGABYTE for limit in settings.UPLOAD_LIMITS.values())
