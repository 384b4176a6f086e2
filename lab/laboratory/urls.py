"""Addresses of the laboratory: identity, places, methods, authority, rules."""

from django.urls import path

from lab.laboratory.views import authorisations, methods, places, rules

app_name = "laboratory"
urlpatterns = [
    path("", places.overview, name="overview"),
    path("identity/", places.identity, name="identity"),
    path("sites/new/", places.add_site, name="add-site"),
    path("sites/<int:pk>/", places.change_site, name="change-site"),
    path("sites/<int:pk>/rooms/new/", places.add_room, name="add-room"),
    path("rooms/<int:pk>/", places.change_room, name="change-room"),
    path("numbers/<slug:series>/", places.change_numbers, name="change-numbers"),
    path("methods/", methods.methods, name="methods"),
    path("methods/new/", methods.start_method, name="start-method"),
    path("methods/<slug:code>/", methods.method, name="method"),
    path("methods/<slug:code>/title/", methods.change_title, name="change-title"),
    path("methods/<slug:code>/revise/", methods.revise_method, name="revise-method"),
    path("revisions/<int:pk>/", methods.revision, name="revision"),
    path(
        "revisions/<int:pk>/withdraw/",
        methods.withdraw_revision,
        name="withdraw-revision",
    ),
    path("authorisations/", authorisations.authorisations, name="authorisations"),
    path("authorisations/new/", authorisations.grant, name="grant"),
    path(
        "authorisations/<int:pk>/", authorisations.authorisation, name="authorisation"
    ),
    path("authorisations/<int:pk>/evidence/", authorisations.evidence, name="evidence"),
    path("authorisations/<int:pk>/revoke/", authorisations.revoke, name="revoke"),
    path("deputies/new/", authorisations.name_deputy, name="name-deputy"),
    path(
        "deputies/<int:pk>/end/", authorisations.end_deputation, name="end-deputation"
    ),
    path("rules/", rules.rules, name="rules"),
    path("rules/new/", rules.offer_rule, name="offer-rule"),
    path("rules/<int:pk>/", rules.rule, name="rule"),
    path("rules/<int:pk>/revise/", rules.revise_rule, name="revise-rule"),
    path("rules/<int:pk>/withdraw/", rules.withdraw_rule, name="withdraw-rule"),
]
