"""Addresses of the rooms' air."""

from django.urls import path

from lab.environment import views

app_name = "environment"
urlpatterns = [
    path("", views.rooms, name="rooms"),
    path("<int:pk>/", views.room, name="room"),
    path("<int:pk>/record/", views.record, name="record"),
    path("readings/<int:pk>/correct/", views.correct, name="correct"),
]
