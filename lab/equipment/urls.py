"""Addresses of the register of devices."""

from django.urls import path

from lab.equipment.views import (
    acceptance,
    calibrations,
    certificates,
    devices,
    dispatches,
    intervals,
)

app_name = "equipment"
urlpatterns = [
    path("", devices.devices, name="list"),
    path("add/", devices.add, name="add"),
    path("due/", devices.due, name="due"),
    path("intervals/", intervals.intervals, name="intervals"),
    path("intervals/set/", intervals.set_rule, name="set-rule"),
    path("providers/", dispatches.providers, name="providers"),
    path("calibrations/<int:pk>/", calibrations.calibration, name="calibration"),
    path("calibrations/<int:pk>/file/", calibrations.document, name="document"),
    path("calibrations/<int:pk>/decide/", acceptance.decide, name="decide"),
    path("calibrations/<int:pk>/correct/", calibrations.correct, name="correct"),
    path("<slug:tag>/", devices.device, name="detail"),
    path("<slug:tag>/change/", devices.change, name="change"),
    path("<slug:tag>/status/", devices.set_status, name="status"),
    path("<slug:tag>/calibrate/", calibrations.record_calibration, name="calibrate"),
    path("<slug:tag>/calibrate/file/", certificates.bring, name="bring"),
    path("<slug:tag>/calibrate/file/<int:pk>/", certificates.read, name="read"),
    path("<slug:tag>/requirement/", acceptance.require, name="require"),
    path("<slug:tag>/drift/", intervals.drift, name="drift"),
    path("<slug:tag>/send/", dispatches.send, name="send"),
    path("<slug:tag>/back/", dispatches.receive, name="back"),
    path("<slug:tag>/stand-ins/", dispatches.add_stand_in, name="stand-in"),
    path(
        "<slug:tag>/stand-ins/<int:pk>/drop/",
        dispatches.drop_stand_in,
        name="drop-stand-in",
    ),
]
