"""What ``help`` lists: the names of all commands, found by where they lie, without the pages and tables behind them."""

from collections import defaultdict
from pathlib import Path

from django.apps import AppConfig
from django.conf import settings
from django.core import management

ASKED_BY: tuple[list[str], ...] = ([], ["help"], ["--help"], ["-h"])


def commands_listed(program: str) -> str:
    """Return what Django's ``help`` lists, which would start all of the site for it."""
    places = {"django": Path(management.__path__[0])}
    for entry in settings.INSTALLED_APPS:
        config = AppConfig.create(entry)
        places[config.name.rpartition(".")[2]] = Path(config.path) / "management"
    at = {name: app for app, place in places.items() for name in management.find_commands(str(place))}
    # An app that is named earlier goes before one that is named later, and before Django.
    for app, place in reversed([*places.items()][1:]):
        at |= dict.fromkeys(management.find_commands(str(place)), app)
    by_app: dict[str, list[str]] = defaultdict(list)
    for name, app in sorted(at.items()):
        by_app[app].append(name)
    lines = [
        "",
        f"Type '{program} help <subcommand>' for help on a specific subcommand.",
        "",
        "Available subcommands:",
    ]
    for app in sorted(by_app):
        lines += ["", f"[{app}]", *(f"    {name}" for name in by_app[app])]
    return "\n".join(lines)
