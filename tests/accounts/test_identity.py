"""Password and code again, before what can't be taken back."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from django import forms
from django.contrib.sessions.backends.db import SessionStore
from django.test import RequestFactory
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.codes import CodeNotAccepted
from lab.accounts.forms import IdentityForm
from lab.accounts.identity import (
    GOOD_FOR,
    ConfirmedIdentity,
    PasswordNotRight,
    confirm_identity,
    require_identity,
)
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAllowed
from lab.common.services import service

pytestmark = pytest.mark.django_db


@pytest.fixture
def request_of():
    """Return a function giving a request as a person's page sees it."""

    def build(person, **typed):
        request = RequestFactory().post("/", typed)
        request.session, request.user = SessionStore(), person
        return request

    return build


def test_password_and_code_prove_who_acts(people, request_of, fresh_code):
    request = request_of(people.signatory)
    proof = confirm_identity(request, people.password, fresh_code(people.signatory))
    assert proof.person_id == people.signatory.pk
    require_identity(proof, people.signatory)


def test_a_role_without_code_proves_it_by_the_password(people, request_of):
    proof = confirm_identity(request_of(people.technician), people.password, "")
    require_identity(proof, people.technician)


def test_a_wrong_password_is_refused_counted_and_spares_the_code(
    people, request_of, fresh_code, wrong_passwords
):
    code = fresh_code(people.signatory)
    with pytest.raises(PasswordNotRight):
        confirm_identity(request_of(people.signatory), "not this one", code)
    assert wrong_passwords() == 1
    assert confirm_identity(request_of(people.signatory), people.password, code)


def test_the_password_of_somebody_else_does_not_count(people, request_of, fresh_code):
    people.quality.set_password("a password of one's own 5")
    people.quality.save(update_fields=["password"])
    with pytest.raises(PasswordNotRight):
        confirm_identity(
            request_of(people.signatory),
            "a password of one's own 5",
            fresh_code(people.signatory),
        )


def test_too_many_wrong_passwords_lock_the_confirmation_too(
    people, request_of, fresh_code, settings
):
    for _ in range(settings.AXES_FAILURE_LIMIT):
        with pytest.raises(PasswordNotRight):
            confirm_identity(request_of(people.signatory), "not this one", "")
    request = request_of(people.signatory)
    with pytest.raises(PasswordNotRight):
        confirm_identity(request, people.password, fresh_code(people.signatory))
    assert request.axes_locked_out


def test_a_wrong_code_is_refused_and_counted(people, request_of, wrong_code):
    request = request_of(people.signatory)
    with pytest.raises(CodeNotAccepted):
        confirm_identity(request, people.password, wrong_code(people.signatory))
    device = TOTPDevice.objects.get(user=people.signatory)
    assert device.throttling_failure_count == 1


def test_it_is_no_part_of_a_service(people, request_of, fresh_code):
    @service
    def careless(*, acting_user):
        code = fresh_code(acting_user)
        confirm_identity(request_of(acting_user), people.password, code)

    with pytest.raises(RuntimeError, match="durable"):
        careless(acting_user=people.signatory)


# --- The proof ------------------------------------------------------------------------


def test_a_proof_is_for_its_person_and_for_a_moment(people, noon):
    proof = ConfirmedIdentity(people.signatory.pk, at=noon)
    with clock.set_to(noon + GOOD_FOR):
        require_identity(proof, people.signatory)
        for wrong in (
            None,
            replace(proof, person_id=people.quality.pk),
            replace(proof, at=noon - timedelta(seconds=1)),
            replace(proof, at=noon + GOOD_FOR + timedelta(seconds=1)),
        ):
            with pytest.raises(NotAllowed, match="password and your one-time code"):
                require_identity(wrong, people.signatory)


def test_the_program_proves_nothing(noon):
    with clock.set_to(noon), pytest.raises(NotAllowed):
        require_identity(ConfirmedIdentity(1, at=noon), PROGRAM)


# --- The form -------------------------------------------------------------------------


def test_the_form_gives_the_proof(people, request_of, fresh_code):
    typed = {"password": people.password, "code": fresh_code(people.signatory)}
    form = IdentityForm(request_of(people.signatory), typed)
    assert form.is_valid(), form.errors
    require_identity(form.identity, people.signatory)


def test_the_form_refuses_beside_the_field(people, request_of, wrong_code):
    typed = {"password": "not this one", "code": "000000"}
    form = IdentityForm(request_of(people.signatory), typed)
    assert set(form.errors) == {"password"}
    typed = {"password": people.password, "code": wrong_code(people.signatory)}
    form = IdentityForm(request_of(people.signatory), typed)
    assert set(form.errors) == {"code"}
    assert not hasattr(form, "identity")


def test_the_form_asks_for_a_code_only_where_the_role_has_one(people, request_of):
    assert "code" not in IdentityForm(request_of(people.technician)).fields
    form = IdentityForm(request_of(people.technician), {"password": people.password})
    assert form.is_valid()


def test_a_form_that_wants_more_spares_the_code_until_all_is_right(
    people, request_of, fresh_code
):
    class WithReason(IdentityForm):
        field_order = ["reason"]
        reason = forms.CharField()

    typed = {"password": people.password, "code": fresh_code(people.signatory)}
    assert not WithReason(request_of(people.signatory), typed).is_valid()
    typed["reason"] = "Typing error in the name"
    assert WithReason(request_of(people.signatory), typed).is_valid()


def test_the_form_of_a_demo_shows_the_code(people, request_of, settings):
    settings.DEMO = True
    form = IdentityForm(request_of(people.signatory))
    assert "This is a demo" in form.fields["code"].help_text
