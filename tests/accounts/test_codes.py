"""One-time codes: showing one, backup codes, waits, and what is closed before."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.codes import CodeNotAccepted, check_code, demo_hint
from lab.accounts.middleware import BEFORE_CODE
from lab.accounts.permissions import PAGES
from lab.accounts.services import make_backup_codes, reset_code
from lab.common import audit
from lab.common.errors import NotAllowed, WrongState
from lab.common.services import service

pytestmark = pytest.mark.django_db
CODE = "/people/code/"


@pytest.fixture
def halfway(people, client, give_password) -> Client:
    """Return the client of a signatory who has given the password only."""
    give_password(client, people.signatory, next="/people/me/")
    return client


def verbs(person):
    return list(audit.history_of(person).values_list("verb", flat=True))


def address_of(page: str) -> str:
    for args in ([], [1], ["x"]):
        try:
            return reverse(page, args=args)
        except NoReverseMatch:
            continue
    pytest.skip(f"{page} takes other arguments than a number or a word")


# --- Nothing before the code ----------------------------------------------------------


@pytest.mark.parametrize("page", sorted(set(PAGES) - BEFORE_CODE))
def test_no_page_opens_before_the_code(halfway, page):
    for answer in (halfway.get(address_of(page)), halfway.post(address_of(page))):
        assert answer.status_code == 302
        assert answer.url.startswith(CODE)


def test_a_fragment_before_the_code_sends_the_whole_page_to_it(halfway):
    answer = halfway.get("/people/", headers={"HX-Request": "true"})
    assert answer.headers["HX-Redirect"].startswith(CODE)


def test_the_navigation_is_not_shown_before_the_code(halfway, people):
    assert 'aria-label="Main"' in halfway.get(CODE).content.decode()
    assert 'href="/people/"' not in halfway.get(CODE).content.decode()


def test_no_sign_in_is_recorded_before_the_code(halfway, people):
    assert "person.signed_in" not in verbs(people.signatory)


def test_the_password_alone_can_still_sign_out(halfway, people):
    assert halfway.post("/people/sign-out/").status_code == 302
    assert "_auth_user_id" not in halfway.session
    assert "person.signed_out" not in verbs(people.signatory)


@pytest.mark.parametrize("part", ["coordinator", "technician", "client"])
def test_other_roles_have_no_code(people, client, sign_in, part):
    sign_in(client, getattr(people, part))
    assert client.get(CODE).url == "/"


# --- The code -------------------------------------------------------------------------


def test_the_code_lets_in_and_leads_on(halfway, people, fresh_code):
    address = f"{CODE}?next=/people/me/"
    before = halfway.session.session_key
    answer = halfway.post(address, {"code": fresh_code(people.signatory)})
    assert answer.url == "/people/me/"
    assert halfway.get("/people/me/").status_code == 200
    assert verbs(people.signatory)[0] == "person.signed_in"
    assert halfway.session.session_key != before


def test_the_code_page_does_not_lead_elsewhere(halfway, people, fresh_code):
    address = f"{CODE}?next=https://elsewhere.example/"
    answer = halfway.post(address, {"code": fresh_code(people.signatory)})
    assert answer.url == "/"


def test_a_second_click_on_the_code_is_no_second_sign_in(halfway, people, fresh_code):
    code = fresh_code(people.signatory)
    halfway.post(CODE, {"code": code})
    assert halfway.post(CODE, {"code": code}).status_code == 302
    assert verbs(people.signatory).count("person.signed_in") == 1


@pytest.mark.parametrize("said", ["", "12345", "abcdef", "１２３４５６", "0" * 41])
def test_nonsense_is_no_code(halfway, people, said):
    assert halfway.post(CODE, {"code": said}).status_code == 400
    assert halfway.get("/people/me/").status_code == 302


def test_a_code_may_be_typed_with_a_space(people, fresh_code):
    code = fresh_code(people.signatory)
    assert check_code(people.signatory, f" {code[:3]} {code[3:]} ")


def test_no_code_is_taken_twice(people, fresh_code):
    code = fresh_code(people.signatory)
    check_code(people.signatory, code)
    with pytest.raises(CodeNotAccepted, match="used already"):
        check_code(people.signatory, code)


def test_the_code_of_somebody_else_does_not_count(people, fresh_code):
    with pytest.raises(CodeNotAccepted):
        check_code(people.signatory, fresh_code(people.quality))


def test_wrong_codes_make_the_next_one_wait(people, fresh_code, wrong_code, wait_out):
    person, device = people.signatory, TOTPDevice.objects.filter(user=people.signatory)
    with pytest.raises(CodeNotAccepted, match="not right"):
        check_code(person, wrong_code(person))
    assert device.get().throttling_failure_count == 1
    # The wait doubles each time; with ten behind one it is over eight minutes.
    device.update(throttling_failure_count=10)
    with pytest.raises(CodeNotAccepted, match="Too many wrong codes"):
        check_code(person, fresh_code(person))
    wait_out(person)
    assert check_code(person, fresh_code(person))
    assert device.get().throttling_failure_count == 0


def test_a_wrong_code_counts_though_the_page_refuses(halfway, people, wrong_code):
    halfway.post(CODE, {"code": wrong_code(people.signatory)})
    device = TOTPDevice.objects.get(user=people.signatory)
    assert device.throttling_failure_count == 1
    assert device.throttling_failure_timestamp <= timezone.now()


def test_codes_are_not_checked_inside_a_service(people, fresh_code):
    """A wrong try would be forgotten with the service's transaction."""

    @service
    def careless(*, acting_user):
        check_code(acting_user, fresh_code(acting_user))

    with pytest.raises(RuntimeError, match="durable"):
        careless(acting_user=people.signatory)


# --- Backup codes ---------------------------------------------------------------------


def test_each_of_ten_backup_codes_is_good_once(people):
    codes = make_backup_codes(acting_user=people.signatory)
    assert len(set(codes)) == 10
    assert check_code(people.signatory, codes[0].upper().replace("-", " "))
    assert audit.history_of(people.signatory).first().verb == "code.backup_used"
    with pytest.raises(CodeNotAccepted):
        check_code(people.signatory, codes[0])
    people.signatory.backup_codes.get(used_at__isnull=False)


def test_backup_codes_are_stored_as_digests_only(people):
    codes = make_backup_codes(acting_user=people.signatory)
    stored = set(people.signatory.backup_codes.values_list("digest", flat=True))
    plain = {code.replace("-", "") for code in codes} | set(codes)
    assert all(len(digest) == 64 for digest in stored)
    assert not stored & plain


def test_a_wrong_backup_code_counts_like_a_wrong_code(people):
    make_backup_codes(acting_user=people.signatory)
    with pytest.raises(CodeNotAccepted):
        check_code(people.signatory, "abcd-efgh-abcd-efgh")
    device = TOTPDevice.objects.get(user=people.signatory)
    assert device.throttling_failure_count == 1


def test_new_backup_codes_replace_the_old(people):
    old = make_backup_codes(acting_user=people.signatory)
    make_backup_codes(acting_user=people.signatory)
    with pytest.raises(CodeNotAccepted):
        check_code(people.signatory, old[0])


def test_a_backup_code_of_somebody_else_does_not_count(people):
    codes = make_backup_codes(acting_user=people.quality)
    with pytest.raises(CodeNotAccepted):
        check_code(people.signatory, codes[0])


def test_a_backup_code_lets_in(halfway, people):
    codes = make_backup_codes(acting_user=people.signatory)
    page = halfway.get(f"{CODE}?backup=1").content.decode()
    assert "Backup code" in page
    assert halfway.post(f"{CODE}?backup=1", {"code": codes[3]}).status_code == 302
    assert halfway.get("/people/me/").status_code == 200


def test_without_a_phone_there_are_no_backup_codes(people):
    with pytest.raises(WrongState, match="Enrol a phone"):
        make_backup_codes(acting_user=people.technician)


# --- The demo -------------------------------------------------------------------------


def test_a_demo_says_the_code_and_that_it_is_a_demo(halfway, people, settings):
    settings.DEMO = True
    hint = demo_hint(people.signatory)
    page = halfway.get(CODE).content.decode()
    assert "This is a demo" in page
    assert hint.code in page
    assert halfway.post(CODE, {"code": hint.code}).status_code == 302


def test_a_demo_shows_the_next_code_when_the_present_one_is_used(people, settings):
    settings.DEMO = True
    check_code(people.signatory, demo_hint(people.signatory).code)
    hint = demo_hint(people.signatory)
    assert hint.is_next
    assert check_code(people.signatory, hint.code)


def test_nobody_else_is_told_the_code(halfway, people, settings):
    settings.DEMO = True
    hint = demo_hint(people.signatory).code
    settings.DEMO = False
    assert demo_hint(people.signatory) is None
    assert hint not in halfway.get(CODE).content.decode()


# --- Resetting ------------------------------------------------------------------------


def test_a_reset_ends_sessions_and_wants_a_phone_enrolled(
    people, client, sign_in, give_password
):
    sign_in(client, people.signatory)
    make_backup_codes(acting_user=people.signatory)
    reset_code(
        person=people.signatory, reason="Phone lost", acting_user=people.administrator
    )
    assert client.get("/people/me/").url.startswith("/people/sign-in/")
    assert not people.signatory.backup_codes.exists()
    assert give_password(client, people.signatory).url == "/people/code/enrol/"
    entry = audit.history_of(people.signatory).get(verb="code.reset")
    assert (entry.reason, entry.actor_id) == ("Phone lost", people.administrator.pk)


def test_a_reset_of_nothing_is_refused(people):
    with pytest.raises(WrongState, match="no one-time code"):
        reset_code(
            person=people.technician, reason="?!x", acting_user=people.administrator
        )
    with pytest.raises(NotAllowed):
        reset_code(person=people.quality, reason="x", acting_user=people.signatory)
