"""Files that tell of colours: a colour meter's readings as CSV, and photographs, both read with care."""

import io
import warnings
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from inventory.compute.colour.lab import Lab, lab_d65_from_d50
from inventory.compute.colour.photograph import PhotographUnclear, Pixels
from inventory.compute.colour.readings import KnownColour, average_readings
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import as_written_here, figure
from inventory.tables.cells import Cell, shown
from inventory.tables.csv_rows import rows_of_csv
from inventory.tables.problems import CellProblem

MOST_READINGS = 20_000
MOST_READINGS_BYTES = 5 * 2**20
MOST_PHOTO_BYTES = 25 * 2**20
MOST_PHOTO_PIXELS = 60_000_000
# Enough to average thread by; a larger picture is made smaller before anything is looked at.
PHOTO_SIDE_PX = 2_000

HEADINGS = {
    "l": "L", "l*": "L", "lab_l": "L", "a": "a", "a*": "a", "lab_a": "a", "b": "b", "b*": "b", "lab_b": "b",
    "code": "code", "shade": "code", "illuminant": "illuminant", "light": "illuminant", "observer": "observer",
}  # fmt: skip


class ReadingsNotRead(WorkshopError):
    """The file holds no readings that can be used."""


@dataclass(frozen=True)
class MeterFile:
    """The colours of a meter's file by shade code (empty where it names none), and its bad rows."""

    colours: dict[str, KnownColour]
    problems: tuple[CellProblem, ...]


def read_meter_file(content: bytes, *, illuminant: str = "") -> MeterFile:
    """Return the mean of the readings of each code, with what is wrong with the others. Raises ReadingsNotRead.

    The columns are L, a, b, optionally code, illuminant (D65 or D50) and observer (2°); ``illuminant`` holds for
    rows that name none. Nothing is guessed: Lab under the wrong light is another colour.
    """
    if len(content) > MOST_READINGS_BYTES:
        raise ReadingsNotRead(
            _("The file is larger than 5 MiB; no meter's readings are. Choose the CSV of readings.")
        )
    raw = rows_of_csv(content, is_known=lambda cell: _heading(cell) != "", most_rows=MOST_READINGS)
    rows = [(number, cells) for number, cells in raw.rows]
    names = [_heading(shown(cell)) for cell in rows[0][1]] if rows else []
    missing = [name for name in ("L", "a", "b") if name not in names]
    if missing:
        raise ReadingsNotRead(
            _(
                "The first row names no column {columns}. Head the columns L, a, b and, where readings are "
                "of several shades, code; illuminant says D65 or D50."
            ).format(columns=", ".join(missing))
        )
    readings: dict[str, list[Lab]] = defaultdict(list)
    problems: list[CellProblem] = []
    for number, cells in rows[1:]:
        found = _reading(number, dict(zip(names, cells, strict=False)), illuminant)
        if isinstance(found, CellProblem):
            problems.append(found)
        else:
            readings[found[0]].append(found[1])
    colours = {}
    for code, labs in readings.items():
        try:
            colours[code] = average_readings(labs)
        except WorkshopError as problem:
            problems.append(CellProblem(0, "code", code, str(problem)))
    return MeterFile(colours, tuple(problems))


def _heading(cell: str) -> str:
    return HEADINGS.get(cell.strip().casefold(), "")


def _reading(number: int, row: dict[str, Cell], illuminant: str) -> tuple[str, Lab] | CellProblem:
    values = []
    for name, least, most in (("L", 0.0, 100.0), ("a", -200.0, 200.0), ("b", -200.0, 200.0)):
        text = shown(row.get(name, "")).strip()
        value = _number(text)
        if value is None or not least <= value <= most:
            return CellProblem(
                number,
                name,
                text[:40],
                _("This is no {name}; it goes from {least} to {most}.").format(
                    name=name, least=as_written_here(f"{least:g}"), most=as_written_here(f"{most:g}")
                ),
            )
        values.append(value)
    observer = shown(row.get("observer", "")).strip().rstrip("°")
    if observer not in ("", "2"):
        return CellProblem(
            number, "observer", observer, _("Colours here are for the 2° observer; export them for it.")
        )
    light = (shown(row.get("illuminant", "")).strip() or illuminant).upper()
    if light not in ("D65", "D50"):
        said = (
            _("No row or choice says under which light") if not light else _("This light is not known here")
        )
        return CellProblem(number, "illuminant", light[:40], _("{said}; say D65 or D50.").format(said=said))
    lab = Lab(*values)
    return shown(row.get("code", "")).strip(), lab_d65_from_d50(lab) if light == "D50" else lab


def _number(text: str) -> float | None:
    written = text.replace("−", "-")
    if written.count(",") == 1 and "." not in written:
        written = written.replace(",", ".")
    try:
        value = float(written)
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def colour_for(file: MeterFile, codes: Sequence[str]) -> KnownColour:
    """Return what a file says of the one shade that goes by ``codes``. Raises ReadingsNotRead."""
    if file.problems:
        raise ReadingsNotRead("; ".join(str(problem) for problem in file.problems[:5]))
    wanted = {code.casefold() for code in codes}
    found = [colour for code, colour in file.colours.items() if code.casefold() in wanted]
    if not found and set(file.colours) == {""}:
        found = [file.colours[""]]
    if len(found) != 1:
        named = ", ".join(code for code in file.colours if code) or "none"
        raise ReadingsNotRead(
            _("The file has no reading of {code}. The codes it has: {codes}.").format(
                code=codes[0], codes=named
            )
        )
    return found[0]


def read_photograph(content: bytes) -> Pixels:
    """Return the pixels, (h, w, 3), of a JPEG, PNG or WebP picture, made smaller if large. Raises PhotographUnclear.

    Width and height are looked at before any pixel is unpacked. A picture that carries a colour profile of its own
    is brought into sRGB by it.
    """
    if len(content) > MOST_PHOTO_BYTES:
        raise PhotographUnclear(_("The photograph is larger than 25 MiB. Send a smaller one."))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as picture:
                if picture.width * picture.height > MOST_PHOTO_PIXELS:
                    raise PhotographUnclear(
                        _(
                            "The photograph has {width} × {height} pixels; {most} are the most that are "
                            "read here."
                        ).format(
                            width=picture.width,
                            height=picture.height,
                            most=figure(MOST_PHOTO_PIXELS),
                        )
                    )
                picture.draft("RGB", (PHOTO_SIDE_PX, PHOTO_SIDE_PX))
                upright = _in_screen_colours(ImageOps.exif_transpose(picture))
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, EOFError) as problem:
        if isinstance(problem, PhotographUnclear):
            raise
        raise PhotographUnclear(
            _("This is no photograph that can be read. Send a JPEG, PNG or WebP.")
        ) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PhotographUnclear(
            _("The photograph has too many pixels to be read here. Send a smaller one.")
        ) from None
    upright.thumbnail((PHOTO_SIDE_PX, PHOTO_SIDE_PX), Image.Resampling.BOX)
    return np.asarray(upright, dtype=np.uint8)


def _in_screen_colours(picture: Image.Image) -> Image.Image:
    """Return a picture in sRGB, by its own profile where it carries one. Raises PhotographUnclear."""
    profile = picture.info.get("icc_profile")
    if not profile:
        return picture.convert("RGB")
    if picture.mode not in ("RGB", "L", "CMYK"):
        picture = picture.convert("RGB")
    try:
        turned = ImageCms.profileToProfile(
            picture,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        raise PhotographUnclear(
            _(
                "The photograph carries a colour profile that cannot be read, so its colours cannot be "
                "told. Save it as sRGB and send it again."
            )
        ) from None
    if turned is None:
        raise PhotographUnclear(_("The photograph could not be brought into sRGB. Save it as sRGB."))
    return turned
