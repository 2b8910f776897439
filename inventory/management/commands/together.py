"""Do one thing with many things of the shelf, in one act that is taken back as one."""

from collections.abc import Sequence
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.lists.many import (
    DoneWithMany,
    acts_on_many,
    find_many,
    move_many,
    relabel_many,
    retire_many,
    take_back_many,
)
from inventory.management.acts import ActCommand, add_scale_step, scale_step_mg
from inventory.models import ActOnMany, Place, StockItem
from inventory.shelf.counts import found_as_typed
from inventory.shelf.labelled import item_labelled
from inventory.templatetags.kept_words import act_in_words

DOINGS = ("move", "relabel", "find", "retire", "list", "take-back")


class Command(ActCommand):
    help = N_(
        "Move, relabel, weigh or take off the shelf many things in one act; list such acts; take one back."
    )
    example = 'together move S0042 S0043 --place "Cone rack"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("do", choices=DOINGS)
        parser.add_argument(
            "things", nargs="*", metavar="LABEL[=NEW]",
            help=_(
                "Labels; with =LABEL to relabel (left out: the next free), with =FOUND to weigh or "
                "count, such as S0042=52.4g or B0003=18. For take-back the number of the act (left out: "
                "the last one)."
),
        )  # fmt: skip
        parser.add_argument("--place", default="", metavar="NAME", help=_("Where they go, to move."))
        parser.add_argument("--why", default="", metavar="TEXT", help=_("Why they leave the shelf."))
        parser.add_argument("--sure", action="store_true", help=_("What is more than full is right."))
        add_scale_step(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        if options["do"] == "list":
            self._list(options)
            return
        if options["do"] == "take-back":
            act = _act_numbered(options["things"])
            done = take_back_many(act, key=self.key_of(options), at=timezone.now(), by=None)
        else:
            done = self._do(options)
        for problem in done.problems:
            self.stderr.write(problem)
        if options["format"] == "json":
            self.write_json({"act": _as_data(done.act), "problems": list(done.problems)})
        else:
            self.stdout.write(_in_words(done))
        if done.act is None and done.problems:
            raise WorkshopError(_("Nothing was done."))

    def _do(self, options: dict[str, Any]) -> DoneWithMany:
        if not options["things"]:
            raise WorkshopError(_("Say which things: their labels, one after another."))
        pairs = [_parted(text) for text in options["things"]]
        said: dict[str, Any] = {"key": self.key_of(options), "at": timezone.now(), "by": None}
        items = [item for item, _rest in pairs]
        if options["do"] == "move":
            return move_many(items, place=_place(options["place"]), **said)
        if options["do"] == "relabel":
            return relabel_many(items, labels={item.pk: new for item, new in pairs}, **said)
        if options["do"] == "retire":
            return retire_many(items, reference=options["why"][:120], **said)
        step = scale_step_mg(options)
        found = [
            (item, found_as_typed(text, item=item, scale_resolution_mg=step, sure=options["sure"]))
            for item, text in pairs
        ]
        return find_many(found, **said)

    def _list(self, options: dict[str, Any]) -> None:
        acts = acts_on_many()
        if options["format"] == "json":
            self.write_json({"acts": [_as_data(act) for act in acts]})
            return
        for act in acts:
            stands = _("taken back") if act.taken_back_at else _("stands")
            self.stdout.write(f"{act.pk}  {act.at:%Y-%m-%d %H:%M}  {act_in_words(act)} ({stands})")
        if not acts:
            self.stdout.write(_("Nothing was done with many things yet."))


def _parted(text: str) -> tuple[StockItem, str]:
    label, _equals, rest = text.partition("=")
    return item_labelled(label), rest.strip()


def _place(name: str) -> Place:
    found = Place.objects.filter(name__iexact=name.strip()).first()
    if found is None:
        raise WorkshopError(
            _('No place is called "{name}". Say one with --place, as the catalogue has it.').format(name=name)
        )
    return found


def _act_numbered(typed: Sequence[str]) -> ActOnMany:
    number = typed[0] if typed else ""
    standing = ActOnMany.objects.all() if number else ActOnMany.objects.filter(taken_back_at__isnull=True)
    found = standing.filter(pk=int(number)).first() if number.isdecimal() else standing.first()
    if found is None or (number and not number.isdecimal()):
        raise WorkshopError(_("There is no such act. The verb list shows them with their numbers."))
    return found


def _in_words(done: DoneWithMany) -> str:
    if done.act is None:
        return _("Nothing was done.") if done.problems else _("It was so already.")
    said = _("{number}: {act} was taken back.") if done.act.taken_back_at else "{number}: {act}."
    return said.format(number=done.act.pk, act=act_in_words(done.act))


def _as_data(act: ActOnMany | None) -> dict[str, Any] | None:
    if act is None:
        return None
    return {
        "id": act.pk,
        "kind": act.kind,
        "what": act.what,
        "at": act.at.isoformat(),
        "taken_back": act.taken_back_at is not None,
        "things": [
            {"label": part.item.label, "before": part.before, "after": part.after}
            for part in act.parts.select_related("item")
        ],
    }
