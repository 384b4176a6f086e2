"""One's own account: what it shows, and signing out everywhere else."""

from __future__ import annotations

import pytest
from django.test import Client

from lab.common import audit

pytestmark = pytest.mark.django_db
ELSEWHERE = "/people/me/sign-out-elsewhere/"


@pytest.mark.parametrize("part", ["technician", "signatory", "client"])
def test_everyone_has_an_account_page(people, client, sign_in, part):
    person = getattr(people, part)
    page = sign_in(client, person).get("/people/me/").content.decode()
    assert person.email in page
    assert ("backup code" in page) is person.needs_code


def test_it_shows_the_latest_sign_ins(people, client, give_password):
    give_password(client, people.technician)
    page = client.get("/people/me/").content.decode()
    entry = audit.history_of(people.technician).get(verb="person.signed_in")
    assert f"{entry.recorded_at:%Y-%m-%d %H:%M}" in page


def test_signing_out_elsewhere_keeps_only_this_session(people, client, sign_in):
    sign_in(client, people.signatory)
    others = [sign_in(Client(), people.signatory) for _ in range(2)]
    before = client.session.session_key
    assert client.post(ELSEWHERE).url == "/people/me/"
    assert client.get("/people/me/").status_code == 200
    assert client.session.session_key != before
    assert [other.get("/people/me/").status_code for other in others] == [302, 302]
    assert audit.history_of(people.signatory).first().verb == "person.sessions_ended"


def test_a_second_click_does_no_harm(people, client, sign_in):
    sign_in(client, people.technician)
    assert client.post(ELSEWHERE).status_code == 302
    assert client.post(ELSEWHERE).status_code == 302
    assert client.get("/people/me/").status_code == 200


def test_it_is_a_post_for_who_is_signed_in(people, client, sign_in):
    assert client.post(ELSEWHERE).url.startswith("/people/sign-in/")
    sign_in(client, people.technician)
    assert client.get(ELSEWHERE).status_code == 405
