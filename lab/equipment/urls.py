"""Addresses of the register of devices."""

from django.urls import path

from lab.equipment.views import calibrations, devices

app_name = "equipment"
urlpatterns = [
    path("", devices.devices, name="list"),
    path("add/", devices.add, name="add"),
    path("due/", devices.due, name="due"),
    path("calibrations/<int:pk>/", calibrations.calibration, name="calibration"),
    path("<slug:tag>/", devices.device, name="detail"),
    path("<slug:tag>/change/", devices.change, name="change"),
    path("<slug:tag>/status/", devices.set_status, name="status"),
    path("<slug:tag>/calibrate/", calibrations.record_calibration, name="calibrate"),
]
