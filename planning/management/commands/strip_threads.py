"""Write a strip of three parts, or solve t, q and κ from both of its threads."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, figure
from inventory.compute.units import told_sides
from inventory.management.base import WorkshopCommand
from planning.compute.stitches.strip_threads import PARTS, WeighingErrors
from planning.compute.stitches.weighed_strip import Scale
from planning.facts.names import by_name
from planning.models import Fabric, Hoop
from planning.plan.ask import chosen_machine
from planning.stitch_files.writing import WRITTEN
from planning.strip.threads import (
    BOTH,
    ThreadsAsked,
    WeighedOn,
    drawn_strip,
    keep_lay,
    lay_as_data,
    part_promises,
    solved,
    threads_file,
)

FORMATS = ", ".join(each.upper() for each in WRITTEN)


class Command(WorkshopCommand):
    help = N_(
        "Write a satin column, a fill and a running line as a stitch file of three colours, or tell from the needle "
        "and bobbin thread of each how thick the cloth is, how deep the threads interlock, and κ. Threads are "
        "unravelled and measured in mm; with --scale-mg they are weighed, in mg. Formats: {formats}."
    )
    example = 'strip_threads strip.pes --fabric "Woven twill"'
    of_help = {"formats": FORMATS}

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "file", nargs="?", metavar="FILE", help=_("Where to write; its ending is the format.")
        )
        parser.add_argument("--machine", metavar="NAME")
        parser.add_argument("--fabric", metavar="NAME")
        parser.add_argument("--hoop", metavar="NAME", help=_("Else a field of 100 × 100 mm."))
        parser.add_argument("--scale-mg", type=float, metavar="MG", help=_("The scale shows steps of."))
        parser.add_argument(
            "--repeat-mg", type=float, metavar="MG", help=_("Repeated weighings differ by; else a step.")
        )
        parser.add_argument("--needle-tex", type=float, metavar="TEX")
        parser.add_argument("--bobbin-tex", type=float, metavar="TEX")
        parser.add_argument(
            "--tex-error",
            type=float,
            default=0.03,
            metavar="SHARE",
            help=_("What a tex may be off by; 0.03 is 3 %%."),
        )
        parser.add_argument(
            "--error", type=float, default=0.05, metavar="SHARE", help=_("Each part weighed to.")
        )
        for part in PARTS:
            parser.add_argument(
                f"--{part.replace(' ', '-')}",
                nargs=2,
                type=float,
                metavar=("NEEDLE", "BOBBIN"),
                help=_("mm, or mg."),
            )
        parser.add_argument(
            "--save", action="store_true", help=_("Set the machine, and the cloth that was named.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        asked = _asked(options)
        read = {part: options[part.replace(" ", "_")] for part in PARTS}
        if any(read.values()):
            if not all(read.values()):
                raise WorkshopError(
                    _("To reckon, give all three: {names}.").format(
                        names=", ".join("--" + p.replace(" ", "-") for p in PARTS)
                    )
                )
            self._reckon(asked, read, options)
        elif options["file"]:
            self._write(asked, Path(options["file"]), as_json=options["format"] == "json")
        else:
            raise WorkshopError(_("Name a file to write the strip to, or give the threads of its parts."))

    def _write(self, asked: ThreadsAsked, path: Path, *, as_json: bool) -> None:
        strip = drawn_strip(asked)
        path.write_bytes(threads_file(asked, extension=path.suffix))
        parts = part_promises(asked, strip)
        width_mm, height_mm = strip.size_mm
        if as_json:
            self.write_json(
                {
                    "file": str(path),
                    "stitches": strip.stitches,
                    "width_mm": round(width_mm, 1),
                    "height_mm": round(height_mm, 1),
                    "parts": [
                        {
                            "name": each.name,
                            "needle_mm": round(each.needle_mm),
                            "bobbin_mm": round(each.bobbin_mm),
                            "needle_mg": None if each.needle_mg is None else round(each.needle_mg),
                            "bobbin_mg": None if each.bobbin_mg is None else round(each.bobbin_mg),
                        }
                        for each in parts
                    ],
                }
            )
            return
        console = self.console()
        console.print(
            _("{path}: {stitches} stitches, {size}.").format(
                path=path,
                stitches=figure(strip.stitches),
                size=told_sides(round(width_mm), round(height_mm)),
            ),
            style="bold",
        )
        for each in parts:
            console.print(
                _("  {name}: about {needle} of needle and {bobbin} of bobbin thread").format(
                    name=each.name,
                    needle=told_sides(round(each.needle_mm)),
                    bobbin=told_sides(round(each.bobbin_mm)),
                )
            )
        console.print(_("The machine's manual comes first."))

    def _reckon(self, asked: ThreadsAsked, read: dict[str, list[float]], options: dict[str, Any]) -> None:
        found = solved(
            asked, {(part, thread): read[part][place] for part in PARTS for place, thread in enumerate(BOTH)}
        )
        if options["save"]:
            at = timezone.now()
            keep_lay(
                asked.machine,
                fabric=asked.fabric,
                kappa=found.kappa[0],
                interlock_depth=found.interlock_depth[0],
                thickness_mm=found.thickness_mm[0],
                key=f"threads-{asked.machine.pk}-{at.isoformat()}",
                at=at,
                by=None,
            )
        if options["format"] == "json":
            self.write_json(lay_as_data(found) | {"saved": options["save"]})
            return
        console = self.console()
        console.print(
            f"κ {found.kappa[0]:.3f} ± {found.kappa[1]:.3f}, q {found.interlock_depth[0]:.2f} ± "
            f"{found.interlock_depth[1]:.2f}, t {found.thickness_mm[0]:.2f} ± {found.thickness_mm[1]:.2f} mm.",
            style="bold",
        )
        if found.is_odd:
            console.print(_("The six readings do not fit together: one of them is likely wrong."))


def _asked(options: dict[str, Any]) -> ThreadsAsked:
    on = None
    if options["scale_mg"] is not None:
        if options["needle_tex"] is None or options["bobbin_tex"] is None:
            raise WorkshopError(_("Thread that is weighed takes --needle-tex and --bobbin-tex."))
        repeat = options["scale_mg"] if options["repeat_mg"] is None else options["repeat_mg"]
        on = WeighedOn(
            Scale(options["scale_mg"], options["needle_tex"], options["bobbin_tex"]),
            WeighingErrors(repeat, options["tex_error"], options["tex_error"]),
            options["error"],
        )
    return ThreadsAsked(
        machine=chosen_machine(options["machine"]),
        fabric=by_name(Fabric, options["fabric"]) if options["fabric"] else None,
        hoop=by_name(Hoop, options["hoop"]) if options["hoop"] else None,
        weighed_on=on,
    )
