"""Addresses of people and their sessions."""

from django.urls import path

from lab.accounts.views import codes, own, passwords, people, sign_in

app_name = "accounts"
urlpatterns = [
    path("sign-in/", sign_in.login, name="login"),
    path("sign-out/", sign_in.logout, name="logout"),
    path("code/", codes.code, name="code"),
    path("code/enrol/", codes.enrol, name="enrol"),
    path("tablet/", sign_in.tablet, name="tablet"),
    path("tablet/lock/", sign_in.lock_tablet, name="lock_tablet"),
    path("tablet/awake/", sign_in.awake, name="awake"),
    path("password/", passwords.ask_password, name="ask_password"),
    path("password/asked/", passwords.password_asked, name="password_asked"),
    path("password/set/<str:token>/", passwords.set_password, name="set_password"),
    path("me/", own.own, name="own"),
    path("me/password/", own.password, name="password"),
    path("me/phone/", codes.new_phone, name="new_phone"),
    path("me/backup-codes/", codes.backup_codes, name="backup_codes"),
    path("me/sign-out-elsewhere/", own.sign_out_elsewhere, name="sign_out_elsewhere"),
    path("", people.people, name="people"),
    path("add/", people.add_person, name="add_person"),
    path("<int:pk>/", people.person, name="person"),
    path("<int:pk>/deactivate/", people.deactivate, name="deactivate"),
    path("<int:pk>/reactivate/", people.reactivate, name="reactivate"),
    path("<int:pk>/forget-code/", people.forget_code, name="forget_code"),
    path("<int:pk>/invite/", people.invite, name="invite"),
]
