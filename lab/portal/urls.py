"""Addresses of the clients' own pages."""

from django.urls import path

from lab.portal import views

app_name = "portal"
urlpatterns = [
    path("", views.home, name="home"),
    path("certificates/<str:number>/", views.certificate, name="certificate"),
]
