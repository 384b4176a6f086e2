"""Addresses of parts and their revisions."""

from django.urls import path

from lab.parts import views

app_name = "parts"
urlpatterns = [
    path("", views.parts, name="list"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.part, name="detail"),
    path("<int:pk>/revisions/add/", views.add_revision, name="add-revision"),
    path("revisions/<int:pk>/", views.revision, name="revision"),
    path("revisions/<int:pk>/correct/", views.correct_revision, name="correct"),
]
