"""Write a strip to stitch and weigh, or reckon from what was weighed of it."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, as_written_here, figure
from inventory.compute.units import told_mass, told_sides, told_thread
from inventory.management.base import WorkshopCommand
from planning.compute.stitches.weighed_strip import Scale, StripMeasured, StripResult
from planning.facts.names import by_name
from planning.models import Fabric, Hoop
from planning.plan.ask import chosen_machine
from planning.stitch_files.writing import WRITTEN, stitch_file
from planning.strip.strips import STRIP_COLOUR, StripAsked, keep_kappa, measured_strip, promised

FORMATS = ", ".join(each.upper() for each in WRITTEN)


class Command(WorkshopCommand):
    help = N_(
        "Write a strip of satin columns, a running line and a fill as a stitch file, just large enough for its thread "
        "to be weighed on your scale ({formats}). With what you read and weighed, it tells κ and the two use factors "
        "instead; give the same scale, threads, hoop and error as when it was written."
    )
    example = "test_strip strip.pes --scale-mg 10 --needle-tex 27 --bobbin-tex 15"
    of_help = {"formats": FORMATS}

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "file", nargs="?", metavar="FILE", help=_("Where to write; its ending is the format.")
        )
        parser.add_argument(
            "--scale-mg", type=float, required=True, metavar="MG", help=_("The scale shows steps of.")
        )
        parser.add_argument("--needle-tex", type=float, required=True, metavar="TEX")
        parser.add_argument("--bobbin-tex", type=float, required=True, metavar="TEX")
        parser.add_argument(
            "--error",
            type=float,
            default=0.03,
            metavar="SHARE",
            help=_("How well it is to be weighed; 0.03 is 3 %%."),
        )
        parser.add_argument("--machine", metavar="NAME")
        parser.add_argument("--hoop", metavar="NAME", help=_("Else a field of 100 × 100 mm."))
        parser.add_argument("--fabric", metavar="NAME")
        parser.add_argument(
            "--light-share",
            type=float,
            metavar="SHARE",
            help=_("Width of the light strip on the back, of the column's."),
        )
        parser.add_argument(
            "--light-error", type=float, default=0.05, metavar="SHARE", help=_("How far that may be misread.")
        )
        parser.add_argument("--needle-mg", type=float, metavar="MG", help=_("What the spool became lighter."))
        parser.add_argument(
            "--bobbin-mg", type=float, metavar="MG", help=_("What the bobbin became lighter.")
        )
        parser.add_argument(
            "--path-lost",
            action="store_true",
            help=_("The thread between spool and needle was weighed as used."),
        )
        parser.add_argument("--save-kappa", action="store_true", help=_("Set the machine's κ."))

    def handle(self, *args: Any, **options: Any) -> None:
        asked = StripAsked(
            machine=chosen_machine(options["machine"]),
            scale=Scale(options["scale_mg"], options["needle_tex"], options["bobbin_tex"]),
            wanted_error=options["error"],
            hoop=by_name(Hoop, options["hoop"]) if options["hoop"] else None,
            fabric=by_name(Fabric, options["fabric"]) if options["fabric"] else None,
        )
        read = [options[name] for name in ("light_share", "needle_mg", "bobbin_mg")]
        if any(each is not None for each in read):
            if any(each is None for each in read):
                raise WorkshopError(
                    _("To reckon, give all three: --light-share, --needle-mg and --bobbin-mg.")
                )
            self._reckon(asked, options)
        elif options["file"]:
            self._write(asked, Path(options["file"]), as_json=options["format"] == "json")
        else:
            raise WorkshopError(
                _("Name a file to write the strip to, or give what was read and weighed of it.")
            )

    def _write(self, asked: StripAsked, path: Path, *, as_json: bool) -> None:
        promise = promised(asked)
        strip = promise.strip
        path.write_bytes(stitch_file([strip.points_mm], extension=path.suffix, colours=[STRIP_COLOUR]))
        width_mm, height_mm = strip.size_mm
        if as_json:
            self.write_json(
                {
                    "file": str(path),
                    "stitches": strip.stitches,
                    "width_mm": round(width_mm, 1),
                    "height_mm": round(height_mm, 1),
                    "drawn_mm": round(strip.sums.drawn_mm, 1),
                    "parts": [
                        {"name": part.name, "width_mm": part.width_mm, "drawn_mm": round(part.drawn_mm, 1)}
                        for part in strip.parts
                    ],
                    "needle_mm": round(promise.needle_mm),
                    "bobbin_mm": round(promise.bobbin_mm),
                    "needle_mg": round(promise.needle_mg),
                    "bobbin_mg": round(promise.bobbin_mg),
                    "needle_error": round(promise.errors[0], 4),
                    "bobbin_error": round(promise.errors[1], 4),
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
        for part in strip.parts:
            console.print(
                _("  {name}: {length} drawn").format(
                    name=part.name, length=told_thread(part.drawn_mm, places=2)
                )
            )
        console.print(
            _(
                "By the machine's settings it takes {needle} of needle thread ({needle_weight}, weighed to "
                "{needle_error}) and {bobbin} of bobbin thread ({bobbin_weight}, to {bobbin_error})."
            ).format(
                needle=told_thread(promise.needle_mm),
                needle_weight=told_mass(promise.needle_mg, places=2),
                needle_error=as_written_here(f"{promise.errors[0]:.1%}"),
                bobbin=told_thread(promise.bobbin_mm),
                bobbin_weight=told_mass(promise.bobbin_mg, places=2),
                bobbin_error=as_written_here(f"{promise.errors[1]:.1%}"),
            )
        )
        console.print(_("Weigh spool and bobbin before and after. The machine's manual comes first."))

    def _reckon(self, asked: StripAsked, options: dict[str, Any]) -> None:
        result = measured_strip(
            asked,
            StripMeasured(
                light_share=options["light_share"],
                light_sigma=options["light_error"],
                needle_mg=options["needle_mg"],
                bobbin_mg=options["bobbin_mg"],
                path_mm=asked.machine.threaded_path_mm if options["path_lost"] else 0.0,
            ),
        )
        if options["save_kappa"]:
            if asked.machine.pk is None:
                raise WorkshopError(_("No machine is set up yet, so there is none whose κ could be set."))
            at = timezone.now()
            key = f"strip-{asked.machine.pk}-{at.isoformat()}"
            keep_kappa(asked.machine, kappa=result.kappa, key=key, at=at, by=None)
        if options["format"] == "json":
            self.write_json(result_as_data(result) | {"saved": options["save_kappa"]})
            return
        (needle, needle_sigma), (bobbin, bobbin_sigma) = result.needle_factor, result.bobbin_factor
        console = self.console()
        console.print(
            _("κ is {kappa} ± {kappa_sigma}.").format(
                kappa=figure(result.kappa, 3), kappa_sigma=figure(result.kappa_sigma, 3)
            ),
            style="bold",
        )
        console.print(
            _("Needle factor {needle} ± {needle_sigma}, bobbin factor {bobbin} ± {bobbin_sigma}.").format(
                needle=figure(needle, 2),
                needle_sigma=figure(needle_sigma, 2),
                bobbin=figure(bobbin, 2),
                bobbin_sigma=figure(bobbin_sigma, 2),
            )
        )
        if options["save_kappa"]:
            console.print(_("{machine} has this κ from now on.").format(machine=asked.machine))


def result_as_data(result: StripResult) -> dict[str, Any]:
    (needle, needle_sigma), (bobbin, bobbin_sigma) = result.needle_factor, result.bobbin_factor
    return {
        "kappa": round(result.kappa, 4),
        "kappa_sigma": round(result.kappa_sigma, 4),
        "needle_factor": round(needle, 4),
        "needle_factor_sigma": round(needle_sigma, 4),
        "bobbin_factor": round(bobbin, 4),
        "bobbin_factor_sigma": round(bobbin_sigma, 4),
    }
