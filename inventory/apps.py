from functools import lru_cache

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
    return _signs_of(get_language() or "en")


@lru_cache
def _signs_of(language: str) -> tuple[str, str]:
    if language.startswith("en"):
        return ".", ","
    return get_format("DECIMAL_SEPARATOR", lang=language), get_format("THOUSAND_SEPARATOR", lang=language)


def _language() -> str:
    return (get_language() or "en")[:2]
