"""Addresses of the pages that join apps."""

from django.urls import path

from lab.board import devices, rooms, views

app_name = "board"
urlpatterns = [
    path("jobs/<str:number>/", views.job, name="job"),
    path("devices/<slug:tag>/systems/", devices.device, name="device"),
    path("rooms/<int:pk>/air/", rooms.air, name="air"),
]
