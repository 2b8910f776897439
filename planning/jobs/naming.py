"""Which kept design is the lettering of which name: lines of a list matched with the library."""

import re
from collections.abc import Iterable, Sequence

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from planning.models import Design

# So many designs are named where several fit one line.
MOST_NAMED = 4


class UnclearNames(WorkshopError):
    """Lines of a list of names that fit no design or no piece."""


def lettering_of(lines: str) -> list[tuple[str, Design]]:
    """Return each name with the design digitized for it, from lines such as ``MARLA: name-marla``.

    After the colon stands the name of a kept design. Without a colon that is the design of the very name, or else the
    only one whose name has it as whole words: *Marla* finds ``name marla 20mm``. Raises UnclearNames with every
    line that fits no design, or several.
    """
    written = [line.strip() for line in lines.splitlines() if line.strip()]
    asked = [tuple(part.strip() for part in line.partition(":")[::2]) for line in written]
    library = list(Design.objects.order_by("name", "pk"))
    by_name: dict[str, Design] = {}
    for design in library:
        by_name.setdefault(design.name.casefold(), design)
    problems, found = [], []
    for number, (text, own) in enumerate(asked, 1):
        exact = by_name.get((own or text).casefold())
        fitting = [exact] if exact else [] if own else _with_words(text, library)
        if len(fitting) == 1:
            found.append((text, fitting[0]))
        elif fitting:
            some = ", ".join(design.name for design in fitting[:MOST_NAMED])
            problems.append(
                _("line {number}: {designs} designs fit {text} ({names}): write {text}: and which").format(
                    number=number, designs=len(fitting), text=text, names=some
                )
            )
        else:
            problems.append(
                _("line {number}: no design is called {name}").format(number=number, name=own or text)
            )
    if problems:
        raise UnclearNames(
            _("{problems}. Keep the design first, or correct its name.").format(problems="; ".join(problems))
        )
    return found


def _with_words(text: str, library: Iterable[Design]) -> list[Design]:
    """Return the designs whose name has the words of ``text`` one after the other, variants of one design once."""
    wanted = _words(text)
    if not wanted:
        return []
    fitting = [design for design in library if _has(_words(design.name), wanted)]
    first = {design.pk for design in fitting}
    return [design for design in fitting if design.variant_of_id not in first]


def _words(text: str) -> list[str]:
    return [word for word in re.split(r"[\W_]+", text.casefold()) if word]


def _has(words: Sequence[str], wanted: Sequence[str]) -> bool:
    return any(
        list(words[start : start + len(wanted)]) == list(wanted)
        for start in range(len(words) - len(wanted) + 1)
    )
