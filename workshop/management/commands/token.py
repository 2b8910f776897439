"""Let a program in by a token, list the tokens, or end one."""

from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import CommandParser
from django.utils import timezone

from inventory.compute.errors import WorkshopError
from inventory.management.base import WorkshopCommand
from workshop.models import Token
from workshop.people.rights import IN_WORDS, Right
from workshop.people.tokens import LONGEST_DAYS, RIGHTS, USUAL_DAYS, end_token, make_token

BY_WORD = {right.name.lower(): right for right in RIGHTS}


class Command(WorkshopCommand):
    help = "Make a token called NAME for a program and print it this once; without NAME, list the tokens that let in."
    example = "token scale --right stitch --days 90"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("name", nargs="?", metavar="NAME", help="Which program has it.")
        parser.add_argument(
            "--person", metavar="NAME", help="For whom it speaks; it may at most what they may."
        )
        parser.add_argument(
            "--right", choices=BY_WORD, default="see", help="How far it reaches; see if not given."
        )
        parser.add_argument(
            "--days",
            type=int,
            default=USUAL_DAYS,
            metavar="N",
            help=f"{USUAL_DAYS} if not given; {LONGEST_DAYS} at most.",
        )
        parser.add_argument("--end", action="store_true", help="Let in no more with the tokens of this NAME.")

    def handle(self, *args: Any, name: str | None, **options: Any) -> None:
        at = timezone.now()
        if name is None:
            self._list(options)
        elif options["end"]:
            found = list(Token.objects.open(at).filter(name=name))
            if not found:
                raise WorkshopError(f"No token called {name} lets in.")
            for token in found:
                end_token(token, at=at)
            self.stdout.write(f"{len(found)} called {name} let nobody in any more.")
        else:
            token, secret = make_token(
                name, user=_person(options["person"]), right=BY_WORD[options["right"]], days=options["days"],
                at=at, by=None,
            )  # fmt: skip
            if options["format"] == "json":
                self.write_json({"name": token.name, "token": secret, "ends_at": token.ends_at.isoformat()})
            else:
                self.stderr.write(
                    f"{token.name} for {token.user}, until {token.ends_at:%Y-%m-%d}; shown this once:"
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
            self.stdout.write("{name}, for {person}: may {may}; until {ends_at:.10}".format(**row))
        if not rows:
            self.stdout.write("No token lets a program in.")


def _person(name: str | None) -> User:
    if name is None:
        raise WorkshopError("Say with --person for whom it speaks.")
    found = User.objects.filter(username=name, is_active=True).first()
    if found is None:
        known = ", ".join(User.objects.filter(is_active=True).values_list("username", flat=True))
        raise WorkshopError(f"There is nobody called {name}. Known: {known}.")
    return found
