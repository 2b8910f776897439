"""Let a program in by a token, list the tokens, or end one."""

from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from workshop.models import Token
from workshop.people.rights import IN_WORDS, Right
from workshop.people.tokens import LONGEST_DAYS, RIGHTS, USUAL_DAYS, end_token, make_token

BY_WORD = {right.name.lower(): right for right in RIGHTS}


class Command(WorkshopCommand):
    help = N_(
        "Make a token called NAME for a program and print it this once; without NAME, list the tokens that let in."
    )
    example = "token scale --right stitch --days 90"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("name", nargs="?", metavar="NAME", help=_("Which program has it."))
        parser.add_argument(
            "--person", metavar="NAME", help=_("For whom it speaks; it may at most what they may.")
        )
        parser.add_argument(
            "--right", choices=BY_WORD, default="see", help=_("How far it reaches; see if not given.")
        )
        parser.add_argument(
            "--days",
            type=int,
            default=USUAL_DAYS,
            metavar="N",
            help=_("{usual} if not given; {longest} at most.").format(usual=USUAL_DAYS, longest=LONGEST_DAYS),
        )
        parser.add_argument(
            "--end", action="store_true", help=_("Let in no more with the tokens of this NAME.")
        )

    def handle(self, *args: Any, name: str | None, **options: Any) -> None:
        at = timezone.now()
        if name is None:
            self._list(options)
        elif options["end"]:
            found = list(Token.objects.open(at).filter(name=name))
            if not found:
                raise WorkshopError(_("No token called {name} lets in.").format(name=name))
            for token in found:
                end_token(token, at=at)
            self.stdout.write(
                _("{count} called {name} let nobody in any more.").format(count=len(found), name=name)
            )
        else:
            token, secret = make_token(
                name, user=_person(options["person"]), right=BY_WORD[options["right"]], days=options["days"],
                at=at, by=None,
            )  # fmt: skip
            if options["format"] == "json":
                self.write_json({"name": token.name, "token": secret, "ends_at": token.ends_at.isoformat()})
            else:
                self.stderr.write(
                    _("{name} for {user}, until {ends_at:%Y-%m-%d}; shown this once:").format(
                        name=token.name, user=token.user, ends_at=token.ends_at
                    )
                )
                self.stdout.write(secret)

    def _list(self, options: dict[str, Any]) -> None:
        rows = [
            {
                "name": token.name,
                "person": token.user.get_username(),
                "may": IN_WORDS[Right(token.right)],
                "ends_at": token.ends_at.isoformat(),
                "used_at": token.used_at.isoformat() if token.used_at else None,
            }
            for token in Token.objects.open(timezone.now()).select_related("user")
        ]
        if options["format"] == "json":
            self.write_json(rows)
            return
        for row in rows:
            said = _("{name}, for {person}: may {may}; until {ends_at:.10}")
            self.stdout.write(said.format(**row | {"may": _(str(row["may"]))}))
        if not rows:
            self.stdout.write(_("No token lets a program in."))


def _person(name: str | None) -> User:
    if name is None:
        raise WorkshopError(_("Say with --person for whom it speaks."))
    found = User.objects.filter(username=name, is_active=True).first()
    if found is None:
        known = ", ".join(User.objects.filter(is_active=True).values_list("username", flat=True))
        raise WorkshopError(
            _("There is nobody called {name}. Known: {known}.").format(name=name, known=known)
        )
    return found
