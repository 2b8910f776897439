"""A shade as the commands tell scripts of it."""

from typing import Any

from inventory.models import Shade


def shade_as_data(shade: Shade) -> dict[str, Any]:
    return {
        "id": shade.pk,
        "maker": shade.range.maker,
        "range": shade.range.name,
        "code": shade.code,
        "name": shade.name,
        "hex": shade.hex,
        "plain_name": shade.plain_name,
    }
