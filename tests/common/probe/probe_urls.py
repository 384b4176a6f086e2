"""The one page that the tests of ``serve`` ask for."""

from django.urls import path

from lab.common.views import healthz

urlpatterns = [path("healthz", healthz, name="healthz")]
