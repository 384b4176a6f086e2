"""Shared tablets: they lock when idle, keep the place, and change hands by a tap."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client

from lab.accounts.models import Tablet, TabletPerson
from lab.accounts.sessions import TABLET_COOKIE
from lab.common import audit, clock

pytestmark = pytest.mark.django_db
TABLET = "/people/tablet/"
ON = {"shared": "on"}


@pytest.fixture
def tablet(people, client, give_password, noon) -> Client:
    """Return the client of a tablet on which a technician signed in at noon."""
    with clock.set_to(noon):
        give_password(client, people.technician, **ON)
    return client


def test_ticking_the_box_makes_the_tablet_known_by_a_secret(tablet, people):
    cookie = tablet.cookies[TABLET_COOKIE]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    known = Tablet.objects.get()
    assert cookie.value != known.digest
    assert TabletPerson.objects.get().person == people.technician
    entry = audit.history_of(people.technician).first()
    assert entry.verb == "person.signed_in"
    assert f'"tablet":{known.pk}' in entry.values_text


def test_without_the_tick_nothing_of_it_happens(people, client, give_password, noon):
    with clock.set_to(noon):
        give_password(client, people.technician)
    assert TABLET_COOKIE not in client.cookies
    with clock.set_to(noon + timedelta(hours=3)):
        answer = client.get("/people/me/")
    assert answer.status_code == 200
    assert "no-store" not in answer.headers.get("Cache-Control", "")
    assert "tablet.js" not in answer.content.decode()


# --- Locking --------------------------------------------------------------------------


def test_it_locks_after_fifteen_idle_minutes_and_keeps_the_place(tablet, noon):
    idle = settings.SHARED_TABLET_IDLE
    with clock.set_to(noon + idle - timedelta(seconds=1)):
        assert tablet.get("/people/me/").status_code == 200
    # That was a touch: the fifteen minutes begin again.
    with clock.set_to(noon + 2 * idle - timedelta(seconds=2)):
        assert tablet.get("/people/me/").status_code == 200
    with clock.set_to(noon + 3 * idle):
        answer = tablet.get("/people/?q=a")
    assert answer.url == f"{TABLET}?next=%2Fpeople%2F%3Fq%3Da"
    assert "_auth_user_id" not in tablet.session


def test_twelve_hours_end_a_busy_tablet_session_too(tablet, noon):
    for minutes in range(0, 12 * 60, 10):
        with clock.set_to(noon + timedelta(minutes=minutes)):
            assert tablet.get("/people/me/").status_code == 200
    with clock.set_to(noon + timedelta(hours=12)):
        assert tablet.get("/people/me/").url.startswith(TABLET)


@pytest.mark.parametrize(
    ("headers", "counts"),
    [
        ({"HX-Request": "true"}, False),
        ({"Sec-Fetch-Dest": "empty"}, False),
        ({"Sec-Fetch-Dest": "document"}, True),
        ({}, True),
    ],
)
def test_what_a_page_fetches_by_itself_does_not_keep_it_awake(
    tablet, noon, headers, counts
):
    with clock.set_to(noon + timedelta(minutes=10)):
        assert tablet.get("/people/me/", headers=headers).status_code == 200
    with clock.set_to(noon + timedelta(minutes=20)):
        answer = tablet.get("/people/me/")
    assert (answer.status_code == 200) is counts


def test_typing_in_a_long_form_keeps_it_awake(tablet, noon):
    with clock.set_to(noon + timedelta(minutes=10)):
        headers = {"Sec-Fetch-Dest": "empty"}
        assert tablet.post("/people/tablet/awake/", headers=headers).status_code == 204
    with clock.set_to(noon + timedelta(minutes=20)):
        assert tablet.get("/people/me/").status_code == 200
        assert tablet.get("/people/tablet/awake/").status_code == 405


def test_a_form_sent_too_late_comes_back_to_its_page(tablet, noon):
    with clock.set_to(noon + timedelta(minutes=20)):
        answer = tablet.post(
            "/people/me/password/",
            {"present": "x"},
            headers={"Referer": "http://testserver/people/me/password/"},
        )
    assert answer.url == f"{TABLET}?next=%2Fpeople%2Fme%2Fpassword%2F"


def test_a_fragment_asked_for_too_late_locks_the_whole_page(tablet, noon):
    headers = {"HX-Request": "true", "HX-Current-URL": "http://testserver/people/?q=a"}
    with clock.set_to(noon + timedelta(minutes=20)):
        answer = tablet.get("/people/?q=ab", headers=headers)
    assert answer.headers["HX-Redirect"] == f"{TABLET}?next=%2Fpeople%2F%3Fq%3Da"


def test_pages_on_a_tablet_hide_themselves_and_are_not_kept(tablet, noon):
    with clock.set_to(noon):
        answer = tablet.get("/people/me/")
    page = answer.content.decode()
    assert answer.headers["Cache-Control"] == "no-store"
    assert 'data-idle-seconds="900"' in page
    assert 'data-lock-address="/people/tablet/?next=%2Fpeople%2Fme%2F"' in page
    assert '<meta http-equiv="refresh" content="900; url=/people/tablet/' in page


def test_locking_by_hand_is_a_post_and_keeps_the_place(tablet, people, noon):
    with clock.set_to(noon):
        assert tablet.get("/people/tablet/lock/").status_code == 405
        answer = tablet.post(
            "/people/tablet/lock/", headers={"Referer": "http://testserver/people/"}
        )
        assert answer.url == f"{TABLET}?next=%2Fpeople%2F"
        assert tablet.post("/people/tablet/lock/").status_code == 302
    verbs = audit.history_of(people.technician).values_list("verb", flat=True)
    assert list(verbs).count("person.signed_out") == 1


def test_signing_out_of_a_tablet_hands_it_over_where_it_is(tablet, noon):
    with clock.set_to(noon):
        answer = tablet.post(
            "/people/sign-out/", headers={"Referer": "http://testserver/people/?q=a"}
        )
        assert answer.url == f"{TABLET}?next=%2Fpeople%2F%3Fq%3Da"
        assert tablet.get("/people/me/").url.startswith(TABLET)


def test_looking_at_the_lock_page_of_an_open_tablet_leads_back(tablet, noon):
    with clock.set_to(noon + timedelta(minutes=14)):
        assert tablet.get(f"{TABLET}?next=/people/me/").url == "/people/me/"
    # And it was no touch: the tablet locks at its time.
    with clock.set_to(noon + timedelta(minutes=15)):
        assert tablet.get(f"{TABLET}?next=/people/me/").status_code == 200


# --- Changing hands -------------------------------------------------------------------


@pytest.fixture
def locked(tablet, people, give_password, noon) -> Client:
    """Return a tablet that two people used and that is locked since."""
    with clock.set_to(noon + timedelta(minutes=5)):
        tablet.post("/people/sign-out/")
        give_password(tablet, people.signatory, **ON)
        tablet.post("/people/sign-out/")
    return tablet


def tap(tablet: Client, person, password: str, *, next: str = "/people/me/"):
    address = f"{TABLET}?who={person.pk}&next={next}"
    return tablet.post(address, {"password": password})


def test_the_page_names_who_was_in_lately_and_nobody_else(locked, people, noon):
    with clock.set_to(noon + timedelta(minutes=6)):
        page = locked.get(TABLET).content.decode()
    assert people.technician.name in page
    assert people.technician2.name not in page
    assert people.technician.email not in page
    # The signatory gave the password only; that is not being in.
    assert people.signatory.name not in page


def test_a_tap_and_the_password_go_on_where_the_tablet_was_left(locked, people, noon):
    with clock.set_to(noon + timedelta(minutes=6)):
        page = locked.get(f"{TABLET}?who={people.technician.pk}&next=/people/")
        assert 'type="password"' in page.content.decode()
        answer = tap(locked, people.technician, people.password)
        assert answer.url == "/people/me/"
        assert locked.get("/people/me/").status_code == 200
    with clock.set_to(noon + timedelta(minutes=30)):
        assert locked.get("/people/me/").url.startswith(TABLET)
    assert TabletPerson.objects.count() == 1
    assert Tablet.objects.count() == 1


def test_whose_role_has_a_code_is_asked_for_it_again(
    tablet, people, give_password, fresh_code, noon
):
    with clock.set_to(noon):
        tablet.post("/people/sign-out/")
        give_password(tablet, people.signatory, **ON)
        tablet.post("/people/code/", {"code": fresh_code(people.signatory)})
        tablet.post("/people/sign-out/")
        assert people.signatory.name in tablet.get(TABLET).content.decode()
        answer = tap(tablet, people.signatory, people.password)
        assert answer.url == "/people/code/?next=%2Fpeople%2Fme%2F"
        assert tablet.get("/people/me/").url.startswith("/people/code/")
        code = {"code": fresh_code(people.signatory)}
        assert tablet.post(answer.url, code).url == "/people/me/"
        assert tablet.get("/people/me/").status_code == 200


def test_a_wrong_password_is_refused_and_counted(locked, people, wrong_passwords, noon):
    with clock.set_to(noon):
        answer = tap(locked, people.technician, "not this one at all")
    assert answer.status_code == 400
    assert "is not Teodor Quill’s password" in answer.content.decode()
    assert wrong_passwords() == 1
    assert "_auth_user_id" not in locked.session


def test_somebody_who_never_was_here_can_not_be_tapped(locked, people, noon):
    with clock.set_to(noon):
        answer = tap(locked, people.technician2, people.password)
    assert answer.status_code == 200
    assert "_auth_user_id" not in locked.session


@pytest.mark.parametrize("who", ["", "x", "0", "9999999999999999999999"])
def test_a_name_that_is_none_shows_the_names(locked, who, noon):
    with clock.set_to(noon):
        assert locked.get(f"{TABLET}?who={who}").status_code == 200


def test_the_tablet_does_not_lead_elsewhere(locked, people, noon):
    with clock.set_to(noon):
        answer = tap(
            locked, people.technician, people.password, next="//elsewhere.example/"
        )
    assert answer.url == "/"


def test_names_are_forgotten_after_a_month_and_when_somebody_leaves(
    tablet, people, noon
):
    with clock.set_to(noon + timedelta(days=31)):
        assert tablet.get(TABLET).url == "/people/sign-in/"
    with clock.set_to(noon + timedelta(days=29)):
        assert people.technician.name in tablet.get(TABLET).content.decode()
        people.technician.is_active = False
        people.technician.save(update_fields=["is_active"])
        assert tablet.get(TABLET).url == "/people/sign-in/"


def test_any_other_browser_is_shown_no_names(tablet):
    assert Client().get(TABLET).url == "/people/sign-in/"
    forger = Client()
    forger.cookies[TABLET_COOKIE] = "made-up"
    assert forger.get(f"{TABLET}?next=/people/").url == (
        "/people/sign-in/?next=%2Fpeople%2F"
    )


def test_a_made_up_cookie_gets_a_tablet_of_its_own(people, client, give_password):
    client.cookies[TABLET_COOKIE] = "made-up"
    give_password(client, people.technician, **ON)
    assert client.cookies[TABLET_COOKIE].value != "made-up"
