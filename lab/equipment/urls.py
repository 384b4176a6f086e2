"""Addresses of the register of devices."""

from django.urls import path

from lab.equipment import views

app_name = "equipment"
urlpatterns = [
    path("", views.devices, name="list"),
    path("add/", views.add, name="add"),
    path("due/", views.due, name="due"),
    path("calibrations/<int:pk>/", views.calibration, name="calibration"),
    path("<slug:tag>/", views.device, name="detail"),
    path("<slug:tag>/change/", views.change, name="change"),
    path("<slug:tag>/status/", views.set_status, name="status"),
    path("<slug:tag>/calibrate/", views.record_calibration, name="calibrate"),
]
