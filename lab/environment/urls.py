"""Addresses of the rooms' air."""

from django.urls import include, path

from lab.environment.views import air, rooms

app_name = "environment"
urlpatterns = [
    path("", include("lab.environment.urls_readings")),
    path("", rooms.rooms, name="rooms"),
    path("<int:pk>/", rooms.room, name="room"),
    path("<int:pk>/tile/", air.tile, name="tile"),
    path("<int:pk>/readings.csv", air.table, name="table"),
    path("excursions/<int:pk>/acknowledge/", air.acknowledge, name="acknowledge"),
    path("<int:pk>/record/", rooms.record, name="record"),
    path("readings/<int:pk>/correct/", rooms.correct, name="correct"),
]
