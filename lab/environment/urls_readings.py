"""Addresses of loggers' readings: files, sensors, keys."""

from django.urls import path

from lab.environment.views import imports, sensors

urlpatterns = [
    path("imports/", imports.imports, name="imports"),
    path("imports/new/", imports.upload, name="upload"),
    path("imports/<int:pk>/", imports.one, name="import"),
    path("imports/<int:pk>/confirm/", imports.confirm, name="confirm"),
    path("imports/<int:pk>/cancel/", imports.cancel, name="cancel"),
    path("imports/<int:pk>/report/", imports.report, name="report"),
    path("sensors/", sensors.sensors, name="sensors"),
    path("sensors/place/", sensors.place, name="place"),
    path("sensors/keys/", sensors.tokens, name="tokens"),
    path("sensors/keys/<int:pk>/withdraw/", sensors.revoke, name="revoke"),
]
