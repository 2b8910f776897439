"""The site as a Django application."""

from django.apps import AppConfig


class WorkshopConfig(AppConfig):
    """Accounts, preferences, the base page and its look."""

    name = "workshop"
    verbose_name = "Workshop"
