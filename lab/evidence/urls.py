"""Addresses of cases and of impact."""

from django.urls import path

from lab.evidence.views import cases, deciding, following, impact

app_name = "evidence"
urlpatterns = [
    path("cases/", cases.cases, name="list"),
    path("cases/open/", cases.open_case, name="open"),
    path("cases/<int:pk>/", cases.case, name="detail"),
    path("cases/<int:pk>/jobs/", cases.name_job, name="name-job"),
    path("cases/<int:pk>/window/", deciding.window, name="window"),
    path("cases/<int:pk>/significance/", deciding.assess, name="assess"),
    path("cases/<int:pk>/tasks/<int:task>/", deciding.task, name="task"),
    path("cases/<int:pk>/certificates/<str:number>/", deciding.decide, name="decide"),
    path(
        "cases/<int:pk>/customers/<int:customer>/letter/",
        following.write,
        name="write",
    ),
    path("cases/<int:pk>/customers/<int:customer>/told/", following.tell, name="tell"),
    path("cases/letters/<int:pk>/", following.letter, name="letter"),
    path("cases/letters/<int:pk>/text/", following.letter_text, name="letter-text"),
    path("cases/<int:pk>/actions/", following.action, name="action"),
    path("cases/actions/<int:pk>/done/", following.action_done, name="done"),
    path("cases/actions/<int:pk>/effect/", following.effect, name="effect"),
    path("cases/<int:pk>/resume/", cases.resume, name="resume"),
    path("cases/<int:pk>/close/", cases.close, name="close"),
    path("impact/devices/<str:tag>/", impact.device, name="device"),
    path("impact/calibrations/<int:pk>/", impact.calibration, name="calibration"),
    path("impact/checks/<int:pk>/", impact.check, name="check"),
]
