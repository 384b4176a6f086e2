"""Addresses of measuring systems, their checks, and check procedures."""

from django.urls import path

from lab.checks.views import charts, checks, procedures, systems

app_name = "checks"
urlpatterns = [
    path("", systems.listed, name="list"),
    path("systems/add/", systems.add, name="add-system"),
    path("systems/<int:pk>/", systems.system, name="system"),
    path("systems/<int:pk>/change/", systems.change, name="change-system"),
    path("systems/<int:pk>/break/", systems.record_break, name="break"),
    path("systems/<int:pk>/record/<slug:code>/", checks.record, name="record"),
    path("systems/<int:pk>/read/<slug:code>/", checks.read_file, name="read"),
    path("systems/<int:pk>/try/<slug:code>/", checks.try_verdicts, name="try"),
    path("systems/<int:pk>/charts/<slug:code>/", charts.charts, name="charts"),
    path("systems/<int:pk>/report/", charts.report, name="report"),
    path("warnings/<int:pk>/", charts.acknowledge, name="acknowledge"),
    path("procedures/", procedures.listed, name="procedures"),
    path("procedures/add/", procedures.add, name="add-procedure"),
    path("procedures/<slug:code>/", procedures.procedure, name="procedure"),
    path("procedures/<slug:code>/change/", procedures.change, name="change-procedure"),
    path("procedures/<slug:code>/revise/", procedures.revise, name="revise"),
    path("<int:pk>/", checks.check, name="detail"),
    path("<int:pk>/file/", checks.source, name="source"),
    path("<int:pk>/void/", checks.void, name="void"),
    path("<int:pk>/confirm/", checks.confirm, name="confirm"),
]
