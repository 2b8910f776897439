from django.apps import AppConfig
from django.utils.formats import get_format
from django.utils.translation import get_language, gettext, ngettext

from inventory.compute.spoken import Speaker, let_speak


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = "Shelf"

    def ready(self) -> None:
        """Have the sums speak the language of the request."""
        let_speak(Speaker(text=gettext, counted=ngettext, signs=_signs))


def _signs() -> tuple[str, str]:
    if (get_language() or "en").startswith("en"):
        return ".", ","
    return get_format("DECIMAL_SEPARATOR"), get_format("THOUSAND_SEPARATOR")
