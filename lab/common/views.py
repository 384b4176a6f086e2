"""Pages of the ground floor."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render


def home(request: HttpRequest) -> HttpResponse:
    return render(request, "home.html")


def healthz(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"ok": True})


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "errors/403.html", {"sentence": str(exception)}, status=403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "errors/404.html", status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    return render(request, "errors/500.html", status=500)
