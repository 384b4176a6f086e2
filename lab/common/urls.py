"""Addresses of the record and of the work behind the pages."""

from django.urls import path

from lab.common import views

app_name = "common"
urlpatterns = [
    path("", views.record, name="record"),
    path("work/", views.work, name="work"),
    path("work/<int:pk>/retry/", views.retry, name="retry"),
]
