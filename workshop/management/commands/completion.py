"""Print what lets bash complete the commands and their options."""

import re
from typing import Any

from django.core.management import get_commands, load_command_class

from inventory.compute.spoken import N_
from inventory.management.examples import WithExample

OURS = ("workshop", "planning", "inventory")
# Words of every command that a person hardly ever types.
SELDOM = {"--pythonpath", "--settings", "--traceback", "--force-color", "--skip-checks"}
# Python is not started at a Tab: all words stand in the script, and names of files are the shell's own business.
SCRIPT = """\
# Completes the commands of Enough Thread and their options. For this shell:
#     source <(python3 manage.py completion)
# For every one, once: python3 manage.py completion >> ~/.bash_completion
_enough_thread() {{
    local word=${{COMP_WORDS[COMP_CWORD]}} at=1 command
    case ${{COMP_WORDS[0]##*/}} in python*)
        if [[ ${{COMP_WORDS[1]##*/}} != manage.py ]]; then COMPREPLY=(); return; fi
        at=2
    esac
    command=${{COMP_WORDS[at]}}
    if (( COMP_CWORD == at )); then
        COMPREPLY=($(compgen -W '{commands}' -- "$word"))
    elif [[ $word == -* ]]; then
        case $command in
{options}
        esac
    else
        COMPREPLY=()
    fi
}}
complete -o default -F _enough_thread manage.py ./manage.py enough-thread python3 python
"""


class Command(WithExample):
    help = N_(
        "Print a script for bash that completes commands and their options: source <(python3 manage.py completion)"
    )
    requires_system_checks: list[str] = []
    example = "completion"

    def handle(self, *args: Any, **options: Any) -> None:
        words = words_of_commands()
        lines = [
            f"            {name}) COMPREPLY=($(compgen -W '{' '.join(own)}' -- \"$word\")) ;;"
            for name, own in words.items()
        ]
        self.stdout.write(
            SCRIPT.format(commands=" ".join(sorted([*words, "help"])), options="\n".join(lines)), ending=""
        )


def words_of_commands() -> dict[str, list[str]]:
    """Return the options of each of our commands, by its name."""
    found = {}
    for name, app in sorted(get_commands().items()):
        if isinstance(app, str) and app.split(".")[0] in OURS and re.fullmatch(r"[a-z_]+", name):
            parser = load_command_class(app, name).create_parser("manage.py", name)
            asked = [word for action in parser._actions for word in action.option_strings]
            found[name] = sorted(word for word in asked if word.startswith("--") and word not in SELDOM)
    return found
