"""Files leave one way: saved, labelled from our list, unable to run or be sniffed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import path

from lab.accounts.permissions import ANYONE, PAGES
from lab.common.files.models import StoredFile
from lab.common.files.storage import RecordsStorage
from lab.common.files.store import FileDamaged, store_file
from lab.common.files.views import (
    csv_response,
    file_response,
    is_shown_inline,
    saved_name,
)

pytestmark = pytest.mark.django_db
SVG = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
HTML = b"<!DOCTYPE html><html><script>alert(1)</script></html>"
DOCUMENT = b"<?xml version='1.0'?><QIFDocument/>"


def body(response: Any) -> bytes:
    content = b"".join(response.streaming_content)
    let_go(response)
    return content


def let_go(response: Any) -> None:
    """Close the file, and not the test's database connection as a whole close does."""
    for close in response._resource_closers:
        close()


@pytest.mark.parametrize(
    ("content", "name", "content_type", "saved_as"),
    [
        (b"%PDF-1.7", "c.pdf", "application/pdf", "c.pdf"),
        (b"%PDF-1.7", "c.html", "application/pdf", "c.html.pdf"),
        (SVG, "drawing.svg", "application/octet-stream", "drawing.svg.bin"),
        (HTML, "page.html", "application/octet-stream", "page.html.bin"),
        (b"\xef\xbb\xbf  " + HTML, "p", "application/octet-stream", "p"),
        (HTML.decode().encode("utf-16"), "p", "application/octet-stream", "p"),
        (DOCUMENT, "result.qif", "application/xml", "result.qif"),
        (b"solid a\nfacet normal 0 0 1", "p.stl", "model/stl", "p.stl"),
        (b"\x00\x01\x02", "raw.dat", "application/octet-stream", "raw.dat"),
        (b"a;b", "r.csv", "text/plain", "r.csv"),
        (b"a;b", "r.js", "text/plain", "r.js.txt"),
    ],
)
def test_a_file_is_saved_under_what_it_is(
    records: RecordsStorage,
    content: bytes,
    name: str,
    content_type: str,
    saved_as: str,
) -> None:
    stored = store_file(content, name=name, kind="other")
    response = file_response(stored)
    assert response["Content-Type"] == content_type
    assert response["Content-Disposition"] == f'attachment; filename="{saved_as}"'
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Security-Policy"].startswith("sandbox; default-src 'none'")
    assert response["Cross-Origin-Resource-Policy"] == "same-origin"
    assert response["Cache-Control"] == "private, no-store"
    assert response["Content-Length"] == str(len(content))
    assert body(response) == content


def test_a_type_that_is_in_no_list_leaves_as_plain_bytes(
    records: RecordsStorage,
) -> None:
    stored = store_file(b"\x00", name="x", kind="other")
    written_otherwise = StoredFile(
        sha256=stored.sha256, size=1, content_type="text/html", original_name="x"
    )
    response = file_response(written_otherwise)
    assert response["Content-Type"] == "application/octet-stream"
    let_go(response)


def test_only_a_photo_of_our_own_encoder_is_shown_inline(
    records: RecordsStorage, picture: Callable[..., bytes]
) -> None:
    photo = store_file(picture("PNG"), name="hub.png", kind="photo")
    assert is_shown_inline(photo)
    response = file_response(photo, "hub.png", inline=True)
    assert response["Content-Disposition"] == 'inline; filename="hub.png"'
    assert response["Content-Type"] == "image/png"
    assert response["X-Content-Type-Options"] == "nosniff"
    let_go(response)
    as_sent = store_file(picture("JPEG"), name="raw.jpg", kind="other")
    for other in (as_sent, store_file(SVG, name="a.svg", kind="other")):
        assert not is_shown_inline(other)
        with pytest.raises(ValueError, match="no photo that we encoded"):
            file_response(other, inline=True)


def test_a_damaged_file_does_not_leave(records: RecordsStorage) -> None:
    stored = store_file(b"as it was", name="a.txt", kind="other")
    kept = Path(records.path(stored.path))
    kept.chmod(0o640)
    kept.write_bytes(b"as it is!")
    with pytest.raises(FileDamaged):
        file_response(stored)


@pytest.mark.parametrize(
    ("name", "content_type", "saved"),
    [
        ("Bügel µ.pdf", "application/pdf", "Bügel µ.pdf"),
        ('a"b\r\nX: y.pdf', "application/pdf", 'a"bX: y.pdf'),
        ("../../x.pdf", "application/pdf", "x.pdf"),
        ("mesh.3MF", "application/zip", "mesh.3MF"),
        ("tool.EXE", "application/octet-stream", "tool.EXE.bin"),
    ],
)
def test_names_to_save_under(name: str, content_type: str, saved: str) -> None:
    assert saved_name(name, content_type) == saved


def test_a_name_cannot_break_out_of_its_header(records: RecordsStorage) -> None:
    stored = store_file(b"%PDF-1.7", name="c.pdf", kind="other")
    response = file_response(stored, 'a"; filename=b.html\r\nX-Evil: 1')
    assert "\r" not in response["Content-Disposition"]
    assert not response.has_header("X-Evil")
    assert response["Content-Disposition"].endswith('.pdf"')
    let_go(response)


def test_a_table_leaves_as_csv_to_be_saved() -> None:
    response = csv_response("hubs", ["part"], [["=1+1"]])
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert response["Content-Disposition"] == 'attachment; filename="hubs.csv"'
    assert response["X-Content-Type-Options"] == "nosniff"
    assert b"\r\n'=1+1\r\n" in body(response)


# --- Through the whole stack --------------------------------------------------------


def give_photo(request: HttpRequest) -> HttpResponse:
    stored = StoredFile.objects.get(original_name="hub.png")
    return file_response(stored, inline=True)  # type: ignore[return-value]


def give_file(request: HttpRequest) -> HttpResponse:
    stored = StoredFile.objects.get(original_name="a.svg")
    return file_response(stored)  # type: ignore[return-value]


urlpatterns = [
    path("photo", give_photo, name="photo"),
    path("file", give_file, name="file"),
]


@pytest.mark.urls(__name__)
def test_the_middleware_does_not_loosen_what_the_view_set(
    records: RecordsStorage,
    picture: Callable[..., bytes],
    monkeypatch: pytest.MonkeyPatch,
    client: Client,
) -> None:
    monkeypatch.setitem(PAGES, "photo", ANYONE)
    monkeypatch.setitem(PAGES, "file", ANYONE)
    store_file(picture("PNG"), name="hub.png", kind="photo")
    store_file(SVG, name="a.svg", kind="other")
    for address, begins in (("/photo", "inline"), ("/file", "attachment")):
        response = client.get(address)
        assert response.status_code == 200
        assert response["Content-Disposition"].startswith(begins)
        assert response["Content-Security-Policy"].startswith("sandbox;")
        assert "script-src" not in response["Content-Security-Policy"]
        assert response["X-Content-Type-Options"] == "nosniff"
        body(response)


# --- Nothing else gives files away --------------------------------------------------


def test_there_is_no_address_for_stored_files() -> None:
    assert not settings.MEDIA_ROOT
    assert settings.MEDIA_URL in {"", "/"}
    assert "default_storage" not in all_sources(("lab",), "*.py")


def all_sources(folders: tuple[str, ...], pattern: str) -> str:
    project = Path(settings.BASE_DIR)
    paths = [p for folder in folders for p in (project / folder).rglob(pattern)]
    return "\n".join(path.read_text() for path in paths)


@pytest.mark.parametrize(
    "given_away",
    ["FileResponse(", "django.views.static", "MEDIA_URL", "X-Accel-Redirect"],
)
def test_no_code_gives_files_away_but_the_one_view(given_away: str) -> None:
    project = Path(settings.BASE_DIR)
    naming = [
        path.relative_to(project).as_posix()
        for path in (project / "lab").rglob("*.py")
        if given_away in path.read_text()
    ]
    allowed = ["lab/common/files/views.py"] if given_away == "FileResponse(" else []
    assert naming == allowed


def test_no_template_asks_a_file_for_its_address() -> None:
    templates = all_sources(("templates",), "*.html")
    assert "file.url" not in templates
    assert "MEDIA" not in templates
