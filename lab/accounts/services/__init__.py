"""Every write about people, their codes, their passwords and their sessions."""

from lab.accounts.services.codes import enrol_for_demo, enrol_phone, make_backup_codes
from lab.accounts.services.passwords import (
    ask_password_link,
    change_password,
    hand_over_link,
    invite_person,
    set_password_by_link,
)
from lab.accounts.services.people import (
    change_person,
    create_person,
    deactivate_person,
    invite_new_person,
    reactivate_person,
    reset_code,
)
from lab.accounts.services.sign_ins import (
    end_all_sessions,
    record_sign_in,
    record_sign_out,
    share_tablet,
)

__all__ = [
    "ask_password_link",
    "change_password",
    "change_person",
    "create_person",
    "deactivate_person",
    "end_all_sessions",
    "enrol_for_demo",
    "enrol_phone",
    "hand_over_link",
    "invite_new_person",
    "invite_person",
    "make_backup_codes",
    "reactivate_person",
    "record_sign_in",
    "record_sign_out",
    "reset_code",
    "set_password_by_link",
    "share_tablet",
]
