"""Addresses of customers and their contacts."""

from django.urls import path

from lab.customers import views

app_name = "customers"
urlpatterns = [
    path("", views.customers, name="list"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.customer, name="detail"),
    path("<int:pk>/change/", views.change, name="change"),
    path("<int:pk>/contacts/add/", views.add_contact, name="add-contact"),
    path("contacts/<int:pk>/change/", views.change_contact, name="change-contact"),
    path("contacts/<int:pk>/invite/", views.invite, name="invite"),
]
