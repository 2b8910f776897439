"""Addresses of planning."""

from django.urls import path

from planning.views import asking, jobs

urlpatterns = [
    path("", asking.today, name="today"),
    path("plan/", asking.plan_sheet, name="plan_sheet"),
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/keep/", jobs.keep_job, name="keep_job"),
    path("jobs/<int:pk>/", jobs.job, name="job"),
    path("jobs/<int:pk>/change/", jobs.edit_job, name="edit_job"),
    path("jobs/<int:pk>/delete/", jobs.confirm_drop, name="confirm_drop_job"),
    path("jobs/<int:pk>/deleted/", jobs.drop, name="drop_job"),
    path("help/", asking.help_page, name="help"),
]
