"""One word for one thing: no two public classes of the house share a name."""

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parent.parent
PACKAGES = ("workshop", "inventory", "planning")
# Django looks for the first and the third by these names, and a migration has no other.
OF_THE_FRAMEWORK = {"Command", "Config", "Migration"}


def public_classes() -> dict[str, list[str]]:
    """Return where each public class of a module is defined; one inside another goes by its owner's name."""
    found: dict[str, list[str]] = defaultdict(list)
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            if "migrations" in path.parts:
                continue
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                    found[node.name].append(f"{path.relative_to(ROOT)}:{node.lineno}")
    return found


def test_the_walk_sees_the_classes():
    found = public_classes()
    assert len(found) > 400
    assert found["StockItem"] == [where for where in found["StockItem"] if "models/stock.py" in where]


def test_every_public_class_has_a_name_of_its_own():
    twice = {
        name: places
        for name, places in public_classes().items()
        if len(places) > 1 and name not in OF_THE_FRAMEWORK
    }
    assert not twice, f"Two things of one name: {twice}"


def test_a_module_takes_no_class_under_another_classes_name():
    """A second name at the import is a second word for the thing."""
    names = set(public_classes())
    taken = [
        f"{path.relative_to(ROOT)}: {alias.name} as {alias.asname}"
        for package in PACKAGES
        for path in sorted((ROOT / package).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if alias.asname and alias.name in names and alias.asname in names and alias.name != alias.asname
    ]
    assert not taken
