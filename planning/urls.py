"""Addresses of planning."""

from django.urls import path

from planning.views import asking

urlpatterns = [
    path("", asking.today, name="today"),
    path("plan/", asking.plan_sheet, name="plan_sheet"),
    path("help/", asking.help_page, name="help"),
]
