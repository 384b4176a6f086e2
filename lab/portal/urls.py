"""Addresses of the clients' own pages, and of the one that anybody may ask."""

from django.urls import path

from lab.portal.views import clients, strangers

app_name = "portal"
urlpatterns = [
    path("c/", strangers.ask, name="ask"),
    path("c/file/", strangers.compare, name="compare"),
    path("c/<str:code>/", strangers.authentic, name="authentic"),
    path("portal/", clients.home, name="home"),
    path("portal/jobs/<str:number>/", clients.job, name="job"),
    path("portal/certificates/<str:number>/", clients.certificate, name="certificate"),
]
