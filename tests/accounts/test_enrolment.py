"""Enrolling a phone: the first, and another one later."""

from __future__ import annotations

import re

import pytest
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.codes import CodeNotAccepted, check_code, key_address, new_key
from lab.accounts.services import enrol_for_demo, enrol_phone
from lab.accounts.sessions import ENROLMENT_KEY
from lab.common import audit
from lab.common.actors import PROGRAM
from lab.common.errors import WrongState

pytestmark = pytest.mark.django_db
ENROL = "/people/code/enrol/"


@pytest.fixture
def newcomer(people, client, give_password):
    """Return the client of a signatory who has no phone enrolled yet."""
    TOTPDevice.objects.filter(user=people.signatory).delete()
    assert give_password(client, people.signatory).url == ENROL
    return client


def test_the_page_shows_a_picture_and_the_key_and_the_same_ones_again(newcomer):
    page = newcomer.get(ENROL).content.decode()
    assert "data:image/png;base64," in page
    key = re.search(r"<code>([A-Z2-7]{32})</code>", page).group(1)
    assert key in newcomer.get(ENROL).content.decode()
    assert newcomer.get("/people/me/").url.startswith(ENROL)


def test_the_first_code_enrols_lets_in_and_shows_ten_backup_codes_once(
    newcomer, people, shown_by
):
    newcomer.get(ENROL)
    key = newcomer.session[ENROLMENT_KEY]
    answer = newcomer.post(f"{ENROL}?next=/people/me/", {"code": shown_by(key)})
    page = answer.content.decode()
    codes = re.findall(r"<code>((?:[a-z2-7]{4}-){3}[a-z2-7]{4})</code>", page)
    assert len(set(codes)) == 10
    assert 'href="/people/me/"' in page
    own = newcomer.get("/people/me/").content.decode()
    assert "10 backup codes left" in own
    assert codes[0] not in own
    assert ENROLMENT_KEY not in newcomer.session
    verbs = audit.history_of(people.signatory).values_list("verb", flat=True)
    assert list(verbs)[:2] == ["person.signed_in", "code.enrolled"]
    assert check_code(people.signatory, codes[0])


def test_a_wrong_first_code_enrols_nothing(newcomer, people, shown_by):
    newcomer.get(ENROL)
    answer = newcomer.post(ENROL, {"code": shown_by(new_key())})
    assert answer.status_code == 400
    assert "not the code that belongs" in answer.content.decode()
    assert not TOTPDevice.objects.filter(user=people.signatory).exists()


def test_a_second_click_leads_to_the_account(newcomer, shown_by):
    newcomer.get(ENROL)
    code = {"code": shown_by(newcomer.session[ENROLMENT_KEY])}
    newcomer.post(ENROL, code)
    assert newcomer.post(ENROL, code).url == "/people/me/"


def test_the_code_that_enrolled_is_used_up(newcomer, people, shown_by):
    newcomer.get(ENROL)
    code = shown_by(newcomer.session[ENROLMENT_KEY])
    newcomer.post(ENROL, {"code": code})
    with pytest.raises(CodeNotAccepted):
        check_code(people.signatory, code)


def test_whoever_has_a_phone_can_not_enrol_another_with_the_password_alone(
    people, client, give_password
):
    give_password(client, people.signatory)
    answer = client.get(ENROL)
    assert answer.status_code == 302
    assert ENROLMENT_KEY not in client.session


@pytest.mark.parametrize("part", ["technician", "client"])
def test_roles_without_codes_enrol_nothing(people, client, sign_in, part):
    sign_in(client, getattr(people, part))
    assert client.get(ENROL).url == "/people/me/"


def test_another_phone_wants_password_and_code_first(
    people, client, sign_in, fresh_code, shown_by
):
    sign_in(client, people.signatory)
    old = TOTPDevice.objects.get(user=people.signatory)
    assert client.get(ENROL).url == "/people/me/"
    typed = {"password": people.password, "code": "wrong-code"}
    assert client.post("/people/me/phone/", typed).status_code == 400
    TOTPDevice.objects.update(throttling_failure_count=0)
    typed["code"] = fresh_code(people.signatory)
    assert client.post("/people/me/phone/", typed).url == ENROL
    client.get(ENROL)
    key = client.session[ENROLMENT_KEY]
    assert client.post(ENROL, {"code": shown_by(key)}).status_code == 200
    # The session goes on with the new phone; the old one is out.
    assert client.get("/people/me/").status_code == 200
    assert TOTPDevice.objects.get(user=people.signatory).key == key != old.key
    sign_ins = audit.history_of(people.signatory).filter(verb="person.signed_in")
    assert not sign_ins.exists()


def test_new_backup_codes_want_password_and_code(people, client, sign_in, fresh_code):
    sign_in(client, people.signatory)
    page = "/people/me/backup-codes/"
    assert client.get(page).status_code == 200
    typed = {"password": "not the right one", "code": fresh_code(people.signatory)}
    assert client.post(page, typed).status_code == 400
    # The code was not used up by the wrong password.
    typed["password"] = people.password
    shown = client.post(page, typed)
    assert shown.content.decode().count("<code>") == 10


def test_the_key_address_is_what_authenticator_apps_read(people):
    address = key_address(people.signatory, "00" * 20)
    assert address == (
        "otpauth://totp/Unbroken%3Asignatory%40saltmarsh.example"
        "?secret=AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA&issuer=Unbroken&digits=6"
    )


def test_the_service_refuses_a_code_of_another_key(people, shown_by):
    with pytest.raises(CodeNotAccepted):
        enrol_phone(
            key=new_key(), code=shown_by(new_key()), acting_user=people.signatory
        )


def test_people_of_a_demo_are_enrolled_without_phone_and_only_there(people, settings):
    TOTPDevice.objects.all().delete()
    enrol_for_demo(person=people.quality, acting_user=PROGRAM)
    assert TOTPDevice.objects.filter(user=people.quality).count() == 1
    settings.CLOCK_SETTABLE = False
    with pytest.raises(WrongState, match="Only a demo"):
        enrol_for_demo(person=people.quality, acting_user=PROGRAM)
