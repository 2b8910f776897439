"""Scripts of one page share their names: a function of one must never take the place of another's."""

import re
from collections import defaultdict

from tests.own_database import HOUSE

AT_THE_TOP = re.compile(r"^(?:async )?(?:function\*? |const |let |var |class )(\w+)", re.MULTILINE)


def test_no_two_scripts_give_one_name_to_what_lies_at_their_top():
    found = defaultdict(set)
    scripts = [
        path
        for app in ("workshop", "inventory", "planning")
        for path in (HOUSE / app).rglob("static/**/*.js")
    ]
    for path in scripts:
        for name in AT_THE_TOP.findall(path.read_text(encoding="utf-8")):
            found[name].add(path.name)
    assert len(scripts) > 3
    assert {name: files for name, files in found.items() if len(files) > 1} == {}
