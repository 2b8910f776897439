from django.apps import AppConfig
from django.utils.formats import get_format
from django.utils.translation import get_language, gettext, ngettext

from inventory.compute.spoken import Speaker, let_speak


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = "Shelf"

    def ready(self) -> None:
        """Have the sums speak the language of the request."""
        let_speak(Speaker(text=gettext, counted=ngettext, signs=_signs, language=_language))


def _signs() -> tuple[str, str]:
    if _language() == "en":
        return ".", ","
    return get_format("DECIMAL_SEPARATOR"), get_format("THOUSAND_SEPARATOR")


def _language() -> str:
    return (get_language() or "en")[:2]
