"""The people pages: who sees them, and every act on them."""

from __future__ import annotations

import pytest
from django.core import mail
from django.test import Client

from lab.accounts.models import PasswordLink, User
from lab.accounts.permissions import Role
from lab.accounts.services import change_person, deactivate_person, reactivate_person
from lab.common import audit
from lab.common.errors import NotAllowed

pytestmark = pytest.mark.django_db
ACTS = ("deactivate", "reactivate", "forget-code", "invite")


@pytest.fixture
def administrator(people, client, sign_in) -> Client:
    return sign_in(client, people.administrator)


def page_of(person: User, act: str = "") -> str:
    return f"/people/{person.pk}/{act}{'/' if act else ''}"


def latest(person: User):
    return audit.history_of(person).first()


def in_record(person: User, **changes: str) -> dict[str, str]:
    now = {"name": person.name, "email": person.email, "role": person.role}
    return {**now, **changes}


# --- The list -------------------------------------------------------------------------


def test_staff_see_who_works_here_and_clients_do_not(people, sign_in):
    page = sign_in(Client(), people.technician).get("/people/")
    assert people.quality.name in page.content.decode()
    assert "Add a person" not in page.content.decode()
    assert sign_in(Client(), people.client).get("/people/").status_code == 403
    assert Client().get("/people/").status_code == 302


def test_the_list_costs_the_same_for_many_people(
    people, administrator, django_assert_max_num_queries
):
    User.objects.bulk_create(
        User(email=f"n{n}@saltmarsh.example", name=f"N {n}", role=Role.CLIENT)
        for n in range(60)
    )
    with django_assert_max_num_queries(5):
        administrator.get("/people/")


def test_the_list_is_searched_in_any_script_and_leaves_out_who_left(
    people, administrator
):
    User.objects.create(email="o@saltmarsh.example", name="ÖZGE Süd", role=Role.CLIENT)
    gone = User.objects.create(
        email="g@saltmarsh.example", name="Gone Süd", role=Role.CLIENT, is_active=False
    )
    page = administrator.get("/people/?q=süd özge").content.decode()
    assert "ÖZGE" in page
    assert people.technician.name not in page
    assert gone.name not in administrator.get("/people/?q=süd").content.decode()
    assert gone.name in administrator.get("/people/?q=süd&gone=on").content.decode()
    empty = administrator.get("/people/?q=nobody at all").content.decode()
    assert "Nobody is called that here" in empty


# --- Whose pages these are ------------------------------------------------------------


@pytest.mark.parametrize(
    "part", ["coordinator", "technician", "signatory", "quality", "client"]
)
def test_only_administrators_change_people(people, client, sign_in, part):
    sign_in(client, getattr(people, part))
    assert client.get("/people/add/").status_code == 403
    assert client.post("/people/add/", {}).status_code == 403
    assert client.get(page_of(people.technician2)).status_code == 403
    for act in ACTS:
        answer = client.post(page_of(people.technician2, act), {"reason": "Left"})
        assert answer.status_code == 403
    people.technician2.refresh_from_db()
    assert people.technician2.is_active
    assert latest(people.technician2).verb == "person.added"


def test_outsiders_are_sent_to_sign_in(people, client):
    for act in ACTS:
        answer = client.post(page_of(people.technician, act), {"reason": "Left"})
        assert answer.url.startswith("/people/sign-in/")


def test_acts_are_posts_only(people, administrator):
    for act in ACTS:
        assert administrator.get(page_of(people.technician, act)).status_code == 405


def test_a_person_that_is_none_is_not_found(administrator):
    assert administrator.get("/people/999999/").status_code == 404
    for act in ACTS:
        answer = administrator.post(f"/people/999999/{act}/", {"reason": "Left"})
        assert answer.status_code == 404


# --- Adding ---------------------------------------------------------------------------


NEW = {"name": "Femke Rood", "email": "femke@saltmarsh.example", "role": "technician"}


def test_a_person_is_added_and_invited(administrator, client, sent_link, people):
    answer = administrator.post("/people/add/", NEW)
    person = User.objects.get(email=NEW["email"])
    assert answer.url == page_of(person)
    assert "invited" in administrator.get(answer.url).content.decode()
    verbs = audit.history_of(person).values_list("verb", "actor_id")
    me = people.administrator.pk
    assert set(verbs) == {("person.added", me), ("person.invited", me)}
    path = sent_link()
    assert "technician" in mail.outbox[0].body
    newcomer, typed = Client(), "seven wet ropes in a row"
    newcomer.post(path, {"password": typed, "again": typed})
    sign_in = {"email": NEW["email"], "password": typed}
    assert newcomer.post("/people/sign-in/", sign_in).url == "/"


def test_adding_twice_is_refused_beside_the_address(administrator):
    administrator.post("/people/add/", NEW)
    answer = administrator.post("/people/add/", NEW)
    assert answer.status_code == 400
    assert "Somebody signs in as femke@saltmarsh.example" in answer.content.decode()
    assert User.objects.filter(email=NEW["email"]).count() == 1
    assert PasswordLink.objects.count() == 1


@pytest.mark.parametrize(
    "changes", [{"email": "femke"}, {"name": "  "}, {"role": "owner"}, {"email": ""}]
)
def test_what_can_not_be_taken_is_told_on_the_form(administrator, changes):
    answer = administrator.post("/people/add/", {**NEW, **changes})
    assert answer.status_code == 400
    assert "field-error" in answer.content.decode()
    assert not User.objects.filter(name="Femke Rood").exists()


# --- Changing -------------------------------------------------------------------------


def test_name_and_address_change_and_the_record_says_from_what(people, administrator):
    typed = in_record(people.technician, name="Teodor Q.", email="TQ@saltmarsh.example")
    assert administrator.post(page_of(people.technician), typed).status_code == 302
    people.technician.refresh_from_db()
    assert people.technician.name == "Teodor Q."
    assert people.technician.email == "tq@saltmarsh.example"
    entry = latest(people.technician)
    assert entry.verb == "person.changed"
    assert "Teodor Quill" in entry.values_text
    assert "role" not in entry.values_text


def test_another_role_ends_sessions_and_wants_a_code(
    people, administrator, sign_in, give_password
):
    other = sign_in(Client(), people.technician)
    typed = in_record(people.technician, role=Role.SIGNATORY)
    administrator.post(page_of(people.technician), typed)
    assert other.get("/people/me/").url.startswith("/people/sign-in/")
    assert give_password(other, people.technician).url == "/people/code/enrol/"


def test_saving_nothing_new_leaves_no_entry(people, administrator):
    typed = in_record(people.technician)
    assert administrator.post(page_of(people.technician), typed).status_code == 302
    assert latest(people.technician).verb == "person.added"


def test_an_address_that_somebody_has_is_refused(people, administrator):
    typed = in_record(people.technician, email=people.quality.email)
    answer = administrator.post(page_of(people.technician), typed)
    assert answer.status_code == 400
    assert people.technician.email != people.quality.email


def test_the_page_of_an_address_that_was_refused_names_the_person_as_before(
    people, administrator
):
    typed = in_record(people.technician, name="Somebody Else", email="nonsense")
    page = administrator.post(page_of(people.technician), typed).content.decode()
    assert f"<h1>{people.technician.name}</h1>" in page


def test_the_last_administrator_stays_one(people, administrator):
    typed = in_record(people.administrator, role=Role.COORDINATOR)
    answer = administrator.post(page_of(people.administrator), typed)
    assert answer.status_code == 403
    assert "last active administrator" in answer.content.decode()
    answer = administrator.post(
        page_of(people.administrator, "deactivate"), {"reason": "Leaving"}
    )
    assert answer.status_code == 403
    people.administrator.refresh_from_db()
    assert people.administrator.role == Role.ADMINISTRATOR
    assert people.administrator.is_active
    assert latest(people.administrator).verb == "person.added"


def test_one_of_two_administrators_may_go_and_then_the_other_stays(people):
    second = change_person(
        person=people.quality,
        email=people.quality.email,
        name=people.quality.name,
        role=Role.ADMINISTRATOR,
        acting_user=people.administrator,
    )
    deactivate_person(
        person=people.administrator, reason="Left", acting_user=people.administrator
    )
    with pytest.raises(NotAllowed, match="last active"):
        deactivate_person(person=second, reason="Left", acting_user=second)


# --- Leaving and coming back ----------------------------------------------------------


def test_a_deactivated_person_is_out_at_once_and_stays_in_the_record(
    people, administrator, sign_in, give_password
):
    other = sign_in(Client(), people.technician)
    answer = administrator.post(
        page_of(people.technician, "deactivate"), {"reason": "Moved away"}
    )
    assert answer.url == page_of(people.technician)
    assert other.get("/people/me/").status_code == 302
    assert give_password(other, people.technician).status_code == 400
    entry = latest(people.technician)
    assert (entry.verb, entry.reason) == ("person.deactivated", "Moved away")
    assert entry.actor_id == people.administrator.pk
    assert (
        "deactivated" in administrator.get(page_of(people.technician)).content.decode()
    )


def test_a_second_click_on_deactivate_is_told_so(people, administrator):
    address, typed = page_of(people.technician, "deactivate"), {"reason": "Moved"}
    administrator.post(address, typed)
    answer = administrator.post(address, typed)
    assert answer.status_code == 409
    assert "deactivated already" in answer.content.decode()
    verbs = audit.history_of(people.technician).values_list("verb", flat=True)
    assert list(verbs).count("person.deactivated") == 1


@pytest.mark.parametrize("act", ["deactivate", "forget-code"])
@pytest.mark.parametrize("reason", ["", "   "])
def test_an_act_without_a_reason_asks_for_it(people, administrator, act, reason):
    answer = administrator.post(page_of(people.signatory, act), {"reason": reason})
    assert answer.status_code == 400
    assert "field-error" in answer.content.decode()
    people.signatory.refresh_from_db()
    assert people.signatory.is_active
    assert latest(people.signatory).verb == "person.added"


def test_a_person_comes_back_with_the_password_they_had(
    people, administrator, give_password
):
    deactivate_person(
        person=people.technician, reason="Left", acting_user=people.administrator
    )
    address = page_of(people.technician, "reactivate")
    assert administrator.post(address, {"reason": "Back"}).status_code == 302
    assert latest(people.technician).verb == "person.reactivated"
    assert give_password(Client(), people.technician).url == "/"
    assert administrator.post(address, {"reason": "Back"}).status_code == 409


def test_coming_back_does_not_bring_old_sessions_back(people, sign_in):
    other = sign_in(Client(), people.technician)
    deactivate_person(
        person=people.technician, reason="Left", acting_user=people.administrator
    )
    reactivate_person(
        person=people.technician, reason="Back", acting_user=people.administrator
    )
    assert other.get("/people/me/").status_code == 302


def test_going_back_to_a_role_does_not_bring_old_sessions_back(people, sign_in):
    other = sign_in(Client(), people.technician)
    for role in (Role.COORDINATOR, Role.TECHNICIAN):
        typed = in_record(people.technician, role=role)
        change_person(
            person=people.technician, **typed, acting_user=people.administrator
        )
    assert other.get("/people/me/").status_code == 302


def test_a_deactivated_person_is_not_invited(people, administrator):
    deactivate_person(
        person=people.technician, reason="Left", acting_user=people.administrator
    )
    answer = administrator.post(page_of(people.technician, "invite"))
    assert answer.status_code == 409
    assert not PasswordLink.objects.exists()


def test_a_link_is_sent_again_on_demand(people, administrator, sent_link):
    answer = administrator.post(page_of(people.technician, "invite"))
    assert answer.url == page_of(people.technician)
    assert sent_link().startswith("/people/password/set/")
    assert latest(people.technician).verb == "person.invited"


def test_the_code_is_reset_for_a_reason_and_once(people, administrator):
    address = page_of(people.signatory, "forget-code")
    assert administrator.post(address, {"reason": "Phone lost"}).status_code == 302
    assert latest(people.signatory).reason == "Phone lost"
    assert administrator.post(address, {"reason": "Phone lost"}).status_code == 409


def test_nobody_is_deleted(people):
    with pytest.raises(TypeError, match="never deleted"):
        people.technician.delete()
