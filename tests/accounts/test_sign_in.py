"""Signing in with e-mail and password."""

from __future__ import annotations

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.test import Client

from lab.accounts.sessions import safe_path
from lab.common import audit, clock

pytestmark = pytest.mark.django_db
SIGN_IN = "/people/sign-in/"


def verbs(person):
    return list(audit.history_of(person).values_list("verb", flat=True))


def test_a_technician_is_in_with_the_password_alone(people, client, give_password):
    response = give_password(client, people.technician, next="/people/me/")
    assert response.status_code == 302
    assert response.url == "/people/me/"
    assert client.get("/people/me/").status_code == 200
    assert verbs(people.technician)[0] == "person.signed_in"


def test_the_address_is_taken_in_any_case_of_letters(people, client):
    typed = {"email": " TECHNICIAN@Saltmarsh.example ", "password": people.password}
    assert client.post(SIGN_IN, typed).status_code == 302


@pytest.mark.parametrize(
    "changes",
    [
        {"password": "something else altogether"},
        {"email": "nobody@saltmarsh.example"},
        {"email": "technician"},
        {"email": "technician@saltmarsh.example\x00"},
        {"email": ""},
        {"password": ""},
    ],
)
def test_a_wrong_pair_is_refused_in_one_sentence(people, client, changes):
    typed = {"email": people.technician.email, "password": people.password}
    response = client.post(SIGN_IN, {**typed, **changes})
    assert response.status_code == 400
    assert "_auth_user_id" not in client.session
    assert "person.signed_in" not in verbs(people.technician)
    if all(changes.values()) and "\x00" not in "".join(changes.values()):
        assert "do not belong together" in response.content.decode()


def test_a_deactivated_person_is_refused_like_a_wrong_password(people, client):
    people.technician.is_active = False
    people.technician.save(update_fields=["is_active"])
    typed = {"email": people.technician.email, "password": people.password}
    response = client.post(SIGN_IN, typed)
    assert "do not belong together" in response.content.decode()


def test_a_second_click_on_the_sign_in_button_changes_nothing(
    people, client, give_password
):
    give_password(client, people.technician)
    response = give_password(client, people.technician)
    assert (response.status_code, response.url) == (302, "/")
    assert verbs(people.technician).count("person.signed_in") == 1


def test_the_session_key_is_a_new_one_after_signing_in(people, client, give_password):
    client.get(SIGN_IN)
    client.session.save()
    planted = client.session.session_key
    client.cookies[settings.SESSION_COOKIE_NAME] = planted
    give_password(client, people.technician)
    assert client.session.session_key != planted
    thief = Client()
    thief.cookies[settings.SESSION_COOKIE_NAME] = planted
    assert thief.get("/people/me/").status_code == 302


def test_the_form_wants_a_csrf_token(people):
    client = Client(enforce_csrf_checks=True)
    typed = {"email": people.technician.email, "password": people.password}
    assert client.post(SIGN_IN, typed).status_code == 403


# --- Limits ---------------------------------------------------------------------------


def test_too_many_wrong_passwords_lock_the_address_out_in_words(
    people, client, give_password
):
    for _ in range(settings.AXES_FAILURE_LIMIT - 1):
        response = give_password(client, people.technician, password="wrong again")
        assert response.status_code == 400
    response = give_password(client, people.technician, password="wrong again")
    assert response.status_code == 429
    assert "Try again in 15 minutes" in response.content.decode()
    # The right password does not help now, and a colleague is not shut out.
    assert give_password(client, people.technician).status_code == 429
    assert give_password(client, people.technician2).status_code == 302


def test_the_lock_out_is_over_after_its_time(people, client, give_password):
    for _ in range(settings.AXES_FAILURE_LIMIT):
        give_password(client, people.technician, password="wrong again")
    attempt = AccessAttempt.objects.get()
    attempt.attempt_time -= settings.AXES_COOLOFF_TIME + timedelta(seconds=1)
    attempt.save(update_fields=["attempt_time"])
    assert give_password(client, people.technician).status_code == 302


def test_a_right_password_forgets_the_wrong_ones(
    people, client, give_password, wrong_passwords
):
    give_password(client, people.technician, password="wrong again")
    assert wrong_passwords() == 1
    give_password(client, people.technician)
    assert wrong_passwords() == 0


def test_nothing_that_was_typed_is_kept_with_the_count(people, client, give_password):
    give_password(client, people.technician, password="almost the right one")
    attempt = AccessAttempt.objects.get()
    assert "almost" not in attempt.post_data
    assert people.technician.email not in attempt.post_data


# --- Where one goes on to -------------------------------------------------------------


@pytest.mark.parametrize(
    "said",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/",
        "///elsewhere.example",
        "/\\elsewhere.example",
        "\\\\elsewhere.example",
        "javascript:alert(1)",
        "http:elsewhere.example",
        "elsewhere.example",
        "/\t/elsewhere.example",
        "",
        None,
    ],
)
def test_one_never_goes_on_to_somewhere_else(said):
    assert safe_path(said) == "/"


@pytest.mark.parametrize("said", ["/people/me/", "/people/?q=a%20b", "/"])
def test_one_goes_on_to_a_page_of_ours(said):
    assert safe_path(said) == said


def test_the_sign_in_form_does_not_lead_elsewhere(people, client, give_password):
    response = give_password(client, people.technician, next="//elsewhere.example/")
    assert response.url == "/"


def test_who_is_signed_in_already_is_not_led_elsewhere(people, client, sign_in):
    sign_in(client, people.technician)
    response = client.get(f"{SIGN_IN}?next=https://elsewhere.example/")
    assert response.url == "/"


# --- Out ------------------------------------------------------------------------------


def test_signing_out_is_a_post_and_ends_the_session(people, client, sign_in):
    sign_in(client, people.technician)
    assert client.get("/people/sign-out/").status_code == 405
    assert client.get("/people/me/").status_code == 200
    assert client.post("/people/sign-out/").url == SIGN_IN
    assert client.get("/people/me/").status_code == 302
    assert verbs(people.technician)[0] == "person.signed_out"


def test_signing_out_twice_is_no_error(people, client, sign_in):
    sign_in(client, people.technician)
    client.post("/people/sign-out/")
    assert client.post("/people/sign-out/").status_code == 302
    assert verbs(people.technician).count("person.signed_out") == 1


# --- Twelve hours ---------------------------------------------------------------------


def test_a_session_ends_twelve_hours_after_the_sign_in_however_busy(
    people, client, give_password, noon
):
    with clock.set_to(noon):
        give_password(client, people.technician)
    for hours in range(1, 12):
        with clock.set_to(noon + timedelta(hours=hours)):
            assert client.get("/people/me/").status_code == 200
    with clock.set_to(noon + timedelta(hours=12, seconds=-1)):
        assert client.get("/people/me/").status_code == 200
    with clock.set_to(noon + timedelta(hours=12)):
        response = client.get("/people/me/?a=1")
    assert response.url == "/people/sign-in/?next=%2Fpeople%2Fme%2F%3Fa%3D1"
    assert "_auth_user_id" not in client.session


def test_a_session_of_unknown_age_has_ended(people, client):
    client.force_login(people.technician)
    assert client.get("/people/me/").status_code == 302


def test_a_fragment_asked_for_too_late_sends_the_whole_page_to_the_form(people, client):
    client.force_login(people.technician)
    response = client.get(
        "/people/?q=a",
        headers={"HX-Request": "true", "HX-Current-URL": "http://testserver/people/"},
    )
    assert response.status_code == 200
    assert response.headers["HX-Redirect"] == "/people/sign-in/?next=%2Fpeople%2F"
    assert b"<form" not in response.content


def test_a_form_sent_too_late_leads_back_to_the_page_with_the_form(people, client):
    response = client.post(
        "/people/me/sign-out-elsewhere/",
        headers={"Referer": "http://testserver/people/me/"},
    )
    assert response.url == "/people/sign-in/?next=%2Fpeople%2Fme%2F"
    foreign = client.post(
        "/people/me/sign-out-elsewhere/",
        headers={"Referer": "http://elsewhere.example/people/me/"},
    )
    assert foreign.url == "/people/sign-in/"
