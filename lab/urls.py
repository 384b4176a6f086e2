"""Every address of the program."""

from django.urls import include, path

from lab.board.views import home
from lab.common.views import healthz
from lab.environment.api import api as readings_api

urlpatterns = [
    path("", home, name="home"),
    path("healthz", healthz, name="healthz"),
    path("customers/", include("lab.customers.urls")),
    path("parts/", include("lab.parts.urls")),
    path("devices/", include("lab.equipment.urls")),
    path("rooms/", include("lab.environment.urls")),
    path("api/v1/", readings_api.urls),
    path("checks/", include("lab.checks.urls")),
    path("jobs/", include("lab.jobs.urls")),
    path("", include("lab.board.urls")),
    path("results/", include("lab.inspections.urls")),
    path("lapses/", include("lab.lapses.urls")),
    path("certificates/", include("lab.certificates.urls")),
    path("", include("lab.evidence.urls")),
    path("", include("lab.portal.urls")),
    path("record/", include("lab.common.urls")),
    path("people/", include("lab.accounts.urls")),
    path("laboratory/", include("lab.laboratory.urls")),
]
handler403 = "lab.common.views.forbidden"
handler404 = "lab.common.views.not_found"
handler500 = "lab.common.views.server_error"
