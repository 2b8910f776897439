from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "planning"
    verbose_name = "Planning"
