"""Addresses of jobs and what belongs to them. The job's own page is the board's."""

from django.urls import path

from lab.jobs.views import holds, items, jobs, scale, sessions

app_name = "jobs"
urlpatterns = [
    path("", jobs.jobs, name="list"),
    path("book/", jobs.book, name="book"),
    path("<str:number>/agree/", jobs.agree, name="agree"),
    path("<str:number>/cancel/", jobs.cancel, name="cancel"),
    path("<str:number>/hold/", holds.raise_hold, name="hold"),
    path("<str:number>/temperature/", items.temperature, name="temperature"),
    path("<str:number>/start/", sessions.start, name="start"),
    path("items/<int:pk>/receive/", items.receive, name="receive"),
    path("items/<int:pk>/body/", items.body, name="body"),
    path("items/<int:pk>/return/", items.return_item, name="return"),
    path("sessions/<int:pk>/scale/", scale.record, name="scale"),
    path("sessions/<int:pk>/pause/", sessions.pause, name="pause"),
    path("sessions/<int:pk>/resume/", sessions.resume, name="resume"),
    path("sessions/<int:pk>/end/", sessions.end, name="end"),
    path("events/<int:pk>/correct/", sessions.correct, name="correct"),
    path("holds/<int:pk>/clear/", holds.clear, name="clear"),
]
