"""Rename a shade, make two shades one, and take either back."""

import uuid
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.catalogue.equivalents import one_shade
from inventory.catalogue.merging import merge_shades, rename_shade, rests_on_shade, take_back_shade_act
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from inventory.models import ShadeAct


class Command(WorkshopCommand):
    help = N_(
        "Show what rests on a shade; give it the code its maker gave it; make it one with "
        "another. All that rests on it is carried over, and taken back as a whole."
    )
    example = 'shades merge R170 R171 --why "one thread under two codes"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("do", choices=("rests-on", "rename", "merge", "list", "take-back"))
        parser.add_argument(
            "shade", nargs="?", default="", metavar="SHADE", help=_("Or the number of the act.")
        )
        parser.add_argument(
            "other", nargs="?", default="", metavar="CODE", help=_("The new code, or the other shade.")
        )
        parser.add_argument("--name", default=None, metavar="NAME", help=_("Its new name, to rename."))
        parser.add_argument("--why", default="", metavar="TEXT")
        parser.add_argument(
            "--key", default="", help=_("A name of your own for this act; given again, nothing happens.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        do, at = options["do"], timezone.now()
        if do == "list":
            self._answer([_as_data(act) for act in ShadeAct.objects.all()[:50]], options)
        elif do == "rests-on":
            rests = [str(each) for each in rests_on_shade(one_shade(options["shade"]))]
            if options["format"] == "json":
                self.write_json({"rests_on": rests})
            else:
                self.stdout.write("\n".join(rests) or _("Nothing rests on it."))
        elif do == "take-back":
            act = _numbered(options["shade"])
            for problem in take_back_shade_act(act, at=at, by=None):
                self.stderr.write(problem)
            act.refresh_from_db()
            self._answer([_as_data(act)], options)
        else:
            said: dict[str, Any] = {
                "key": options["key"] or f"command-{uuid.uuid4()}", "at": at, "by": None, "why": options["why"],
            }  # fmt: skip
            shade = one_shade(options["shade"])
            if not options["other"]:
                raise WorkshopError(_("Say the new code, or the shade that it is."))
            act = (
                rename_shade(shade, code=options["other"], name=options["name"], **said)
                if do == "rename"
                else merge_shades(shade, into=one_shade(options["other"]), **said)
            )
            for told in act.told:
                self.stderr.write(_("Carried over: {told}.").format(told=told))
            self._answer([_as_data(act)], options)

    def _answer(self, acts: list[dict[str, Any]], options: dict[str, Any]) -> None:
        if options["format"] == "json":
            self.write_json({"acts": acts})
            return
        for act in acts:
            said = _("{number}: {act} (taken back)") if act["taken_back"] else "{number}: {act}"
            self.stdout.write(said.format(number=act["id"], act=act["what"]))


def _numbered(number: str) -> ShadeAct:
    act = ShadeAct.objects.filter(pk=int(number)).first() if number.isdecimal() else None
    if act is None:
        raise WorkshopError(_("There is no such act. The verb list shows them with their numbers."))
    return act


def _as_data(act: ShadeAct) -> dict[str, Any]:
    return {
        "id": act.pk,
        "kind": act.kind,
        "what": act.what,
        "shade": str(act.shade),
        "carried_over": act.told,
        "taken_back": act.taken_back_at is not None,
    }
