"""The site as a Django application."""

from django.apps import AppConfig


class WorkshopConfig(AppConfig):
    """Accounts, preferences, the base page and its look."""

    name = "workshop"
    verbose_name = "Workshop"

    def ready(self) -> None:
        """Have sign-ins noted."""
        from workshop.people import sign_ins  # noqa: F401 - its receivers; models are ready only now
