"""Addresses of drafts and certificates. No number is like the words used here."""

from django.urls import path

from lab.certificates.views import certificates, drafts

app_name = "certificates"
urlpatterns = [
    path("", certificates.certificates, name="list"),
    path("jobs/<str:number>/start/", drafts.start, name="start"),
    path("drafts/<int:pk>/", drafts.draft, name="draft"),
    path("drafts/<int:pk>/change/", drafts.change, name="change"),
    path("drafts/<int:pk>/remark/", drafts.remark, name="remark"),
    path("drafts/<int:pk>/submit/", drafts.submit, name="submit"),
    path("drafts/<int:pk>/abandon/", drafts.abandon, name="abandon"),
    path("drafts/<int:pk>/approve/", drafts.approve, name="approve"),
    path("drafts/<int:pk>/send-back/", drafts.send_back, name="send-back"),
    path("drafts/<int:pk>/issue/", drafts.issue, name="issue"),
    path("<str:number>/", certificates.certificate, name="detail"),
    path("<str:number>/document/", certificates.document, name="document"),
    path("<str:number>/withdraw/", certificates.withdraw, name="withdraw"),
    path("<str:number>/send/", certificates.send, name="send"),
]
