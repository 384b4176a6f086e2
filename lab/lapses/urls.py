"""Addresses of what was found on sessions and devices."""

from django.urls import path

from lab.lapses.views import conditions, later

app_name = "lapses"
urlpatterns = [
    path("sessions/<int:pk>/conditions/", conditions.assess, name="conditions"),
    path("devices/<slug:tag>/found/", later.find, name="find"),
    path("findings/<int:pk>/clear/", later.clear, name="clear"),
]
