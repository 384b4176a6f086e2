"""Passwords: changed by their owner, or set by a link from a mail."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core import mail
from django.test import Client

from lab.accounts.links import address_of, find_link, make_address, send_link
from lab.accounts.models import PasswordLink, PasswordRequest
from lab.accounts.services import (
    ask_password_link,
    deactivate_person,
    hand_over_link,
    invite_person,
)
from lab.accounts.services.passwords import (
    REQUESTS_PER_ADDRESS,
    REQUESTS_PER_CLIENT,
)
from lab.common import audit, clock
from lab.common.actors import PROGRAM
from lab.common.errors import WrongState
from lab.common.work.models import WorkItem

pytestmark = pytest.mark.django_db
ASK = "/people/password/"
NEW = "eleven wet ropes and a tern"


def ask(client: Client, email: str, **more):
    return client.post(ASK, {"email": email}, **more)


def choose(client: Client, path: str, password: str = NEW, again: str | None = None):
    return client.post(path, {"password": password, "again": again or password})


# --- Asking ---------------------------------------------------------------------------


def test_a_link_is_sent_by_the_worker_to_whoever_has_the_address(
    people, client, sent_link
):
    answer = ask(client, f" {people.technician.email.upper()} ")
    assert answer.url == "/people/password/asked/"
    assert mail.outbox == []
    path = sent_link()
    assert mail.outbox[0].to == [people.technician.email]
    assert people.technician.name in mail.outbox[0].body
    assert path.startswith("/people/password/set/")
    entry = audit.history_of(people.technician).first()
    assert entry.verb == "password.link_asked"
    assert entry.actor_id is None


def test_the_answer_is_the_same_whether_the_address_exists_or_not(people, client):
    known = ask(client, people.technician.email)
    people.technician2.is_active = False
    people.technician2.save(update_fields=["is_active"])
    for email in ("nobody@saltmarsh.example", "no address", people.technician2.email):
        answer = ask(client, email)
        assert (answer.status_code, answer.url) == (known.status_code, known.url)
        assert dict(answer.cookies) == dict(known.cookies)
    assert PasswordLink.objects.count() == 1


def test_the_link_is_the_configured_sites_whatever_the_request_says(
    people, client, settings
):
    settings.ALLOWED_HOSTS = ["*"]
    settings.SITE_URL = "https://lab.example"
    headers = {"Host": "evil.example", "X-Forwarded-Host": "evil.example"}
    ask(client, people.technician.email, headers=headers)
    send_link(PasswordLink.objects.get().pk)
    assert "https://lab.example/people/password/set/" in mail.outbox[0].body
    assert "evil.example" not in mail.outbox[0].body


def test_a_foreign_host_is_not_answered_at_all(people, client):
    answer = ask(client, people.technician.email, headers={"Host": "evil.example"})
    assert answer.status_code == 400
    assert not PasswordLink.objects.exists()


def test_one_address_gets_few_links_an_hour_and_the_answer_stays_the_same(
    people, client, noon
):
    for minutes in range(REQUESTS_PER_ADDRESS + 3):
        with clock.set_to(noon + timedelta(minutes=minutes)):
            assert ask(client, people.technician.email).status_code == 302
    assert PasswordLink.objects.count() == REQUESTS_PER_ADDRESS
    with clock.set_to(noon + timedelta(minutes=70)):
        ask(client, people.technician.email)
    assert PasswordLink.objects.count() == REQUESTS_PER_ADDRESS + 1


def test_one_client_asks_only_so_often_for_whatever_address(people, client, noon):
    with clock.set_to(noon):
        for number in range(REQUESTS_PER_CLIENT):
            assert ask(client, f"n{number}@saltmarsh.example").status_code == 302
        answer = ask(client, people.technician.email)
        assert answer.status_code == 429
        assert "Try again in an hour" in answer.content.decode()
        elsewhere = ask(client, people.technician.email, REMOTE_ADDR="192.0.2.7")
        assert elsewhere.status_code == 302
    with clock.set_to(noon + timedelta(minutes=61)):
        assert ask(client, people.technician.email).status_code == 302


def test_requests_are_forgotten_after_a_day(client, noon):
    with clock.set_to(noon):
        ask(client, "nobody@saltmarsh.example")
    with clock.set_to(noon + timedelta(days=1, seconds=1)):
        ask(client, "somebody@saltmarsh.example")
    assert PasswordRequest.objects.count() == 1


# --- Setting --------------------------------------------------------------------------


def test_the_link_sets_the_password_once_and_ends_sessions(
    people, client, sign_in, sent_link, give_password
):
    elsewhere = sign_in(Client(), people.technician)
    ask(client, people.technician.email)
    path = sent_link()
    assert people.technician.name in client.get(path).content.decode()
    assert choose(client, path).url == "/people/sign-in/"
    people.technician.refresh_from_db()
    assert people.technician.check_password(NEW)
    assert elsewhere.get("/people/me/").status_code == 302
    assert give_password(client, people.technician).status_code == 400
    assert give_password(client, people.technician, password=NEW).status_code == 302
    entry = audit.history_of(people.technician).get(verb="password.set_by_link")
    assert entry.actor_id == people.technician.pk
    second = choose(client, path, "another long password 9")
    assert second.status_code == 409
    assert "not good any more" in second.content.decode()


def test_the_link_does_not_get_round_the_one_time_code(
    people, client, sent_link, give_password
):
    ask(client, people.signatory.email)
    choose(client, sent_link())
    answer = give_password(client, people.signatory, password=NEW)
    assert answer.url == "/people/code/"
    assert client.get("/people/me/").url.startswith("/people/code/")


@pytest.mark.parametrize(
    ("password", "again", "words"),
    [
        ("short", None, "too short"),
        ("passwordpassword", None, None),
        (NEW, NEW + "x", "not the same"),
        ("", None, "required"),
        ("technician@saltmarsh.example", None, "too similar"),
    ],
)
def test_a_password_that_will_not_do_leaves_the_link_good(
    people, client, sent_link, password, again, words
):
    ask(client, people.technician.email)
    path = sent_link()
    answer = choose(client, path, password, again)
    if words:
        assert answer.status_code == 400
        assert words in answer.content.decode()
        assert choose(client, path).status_code == 302


def test_a_link_runs_out_after_an_hour(people, client, noon):
    with clock.set_to(noon):
        ask(client, people.technician.email)
        path = make_address(PasswordLink.objects.get()).removeprefix(
            "http://localhost:8000"
        )
    with clock.set_to(noon + timedelta(minutes=59)):
        assert client.get(path).status_code == 200
    with clock.set_to(noon + timedelta(minutes=60)):
        assert client.get(path).status_code == 409
        assert choose(client, path).status_code == 409


def test_using_one_link_voids_the_others(people, client, sent_link):
    ask(client, people.technician.email)
    first = sent_link()
    ask(client, people.technician.email)
    choose(client, sent_link())
    assert client.get(first).status_code == 409


def test_a_link_of_somebody_who_left_is_void(people, client, sent_link):
    ask(client, people.technician.email)
    path = sent_link()
    deactivate_person(
        person=people.technician, reason="Left", acting_user=people.administrator
    )
    assert client.get(path).status_code == 409


@pytest.mark.parametrize("token", ["x", "0" * 22, "..", "%00"])
def test_an_unknown_link_is_refused_in_words(client, db, token):
    answer = client.get(f"/people/password/set/{token}/")
    assert answer.status_code in {404, 409}


def test_an_empty_digest_is_nobodys_token(people, client):
    """A link that was not sent yet has no secret, and none opens it."""
    ask(client, people.technician.email)
    with pytest.raises(WrongState):
        find_link("")


def test_the_secret_is_stored_as_a_digest_only(people):
    link = invite_person(person=people.technician, acting_user=people.administrator)
    token = make_address(link).rsplit("/", 2)[1]
    link.refresh_from_db()
    assert link.digest != token
    assert len(token) == 22  # 128 bits in base64
    assert find_link(token) == link
    assert address_of(token).endswith(f"/{token}/")


def test_sending_again_voids_the_secret_of_before(people):
    link = invite_person(person=people.technician, acting_user=people.administrator)
    send_link(link.pk)
    send_link(link.pk)
    tokens = [m.body.split("/people/password/set/")[1][:22] for m in mail.outbox]
    assert find_link(tokens[1]) == link
    with pytest.raises(WrongState):
        find_link(tokens[0])


def test_nothing_is_sent_for_a_link_that_is_void_meanwhile(people, noon):
    with clock.set_to(noon):
        link = invite_person(person=people.technician, acting_user=people.administrator)
    with clock.set_to(noon + timedelta(days=8)):
        send_link(link.pk)
    people.technician.is_active = False
    people.technician.save(update_fields=["is_active"])
    with clock.set_to(noon):
        send_link(link.pk)
    assert mail.outbox == []


def test_setting_a_password_by_mail_ends_a_lock_out(
    people, client, give_password, sent_link
):
    for _ in range(7):
        give_password(client, people.technician, password="wrong again")
    assert give_password(client, people.technician).status_code == 429
    ask(client, people.technician.email)
    choose(client, sent_link())
    assert give_password(client, people.technician, password=NEW).status_code == 302


def test_an_invitation_in_hand_needs_no_mail(people, client):
    path = hand_over_link(person=people.technician, acting_user=PROGRAM)
    assert not WorkItem.objects.exists()
    assert client.get(path.removeprefix("http://localhost:8000")).status_code == 200


def test_nobody_can_ask_in_the_name_of_a_deactivated_actor(people):
    people.technician.is_active = False
    with pytest.raises(Exception, match="role does not let you"):
        ask_password_link(
            email="x@saltmarsh.example", ip_address=None, acting_user=people.technician
        )


# --- Changing one's own ---------------------------------------------------------------


def change(client: Client, present: str, password: str = NEW):
    typed = {"present": present, "password": password, "again": password}
    return client.post("/people/me/password/", typed)


def test_changing_the_password_keeps_this_session_and_ends_the_others(
    people, client, sign_in
):
    sign_in(client, people.technician)
    other = sign_in(Client(), people.technician)
    before = client.session.session_key
    assert change(client, people.password).url == "/people/me/"
    assert client.get("/people/me/").status_code == 200
    assert client.session.session_key != before
    assert other.get("/people/me/").status_code == 302
    people.technician.refresh_from_db()
    assert people.technician.check_password(NEW)
    assert audit.history_of(people.technician).first().verb == "password.changed"


def test_the_code_stays_shown_after_a_change_of_password(people, client, sign_in):
    sign_in(client, people.signatory)
    change(client, people.password)
    assert client.get("/people/me/").status_code == 200


def test_a_second_click_on_change_is_refused_by_the_present_password(
    people, client, sign_in
):
    sign_in(client, people.technician)
    change(client, people.password)
    assert change(client, people.password).status_code == 400


def test_a_wrong_present_password_changes_nothing_and_counts(
    people, client, sign_in, wrong_passwords
):
    sign_in(client, people.technician)
    answer = change(client, "not the present one")
    assert answer.status_code == 400
    assert "not your present password" in answer.content.decode()
    assert wrong_passwords() == 1
    people.technician.refresh_from_db()
    assert people.technician.check_password(people.password)


def test_a_weak_new_password_is_refused_beside_its_field(people, client, sign_in):
    sign_in(client, people.technician)
    answer = change(client, people.password, "teodor quill")
    assert answer.status_code == 400
    assert "too similar" in answer.content.decode()
