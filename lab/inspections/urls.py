"""Addresses of results."""

from django.urls import path

from lab.inspections import views

app_name = "inspections"
urlpatterns = [
    path("jobs/<str:number>/", views.results, name="results"),
    path("jobs/<str:number>/record/", views.record, name="record"),
    path("jobs/<str:number>/try/", views.try_verdict, name="try"),
    path("jobs/<str:number>/decide/", views.decide_anew, name="decide"),
    path("jobs/<str:number>/finish/", views.finish, name="finish"),
    path("<int:pk>/", views.result, name="detail"),
    path("<int:pk>/correct/", views.correct, name="correct"),
]
