"""Addresses of what was found on sessions."""

from django.urls import path

from lab.lapses.views import conditions

app_name = "lapses"
urlpatterns = [
    path("sessions/<int:pk>/conditions/", conditions.assess, name="conditions"),
]
