"""Damage to the build of a stitch file is told with its numbers; a sound file is never suspected."""

import itertools
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyembroidery
import pytest
from pyembroidery import EmbPattern

from fixtures.drawing.design import Act, Design, measure, steps
from fixtures.make_designs import designs
from planning.compute.stitches.plausibility import signs_of_damage
from planning.compute.stitches.walk import JUMP, STITCH, TRIM, StitchRecords
from planning.stitch_files.formats import FORMATS
from planning.stitch_files.reading import ReadDesign, read_design_file, read_design_files
from tests.planning.written_files import file_bytes, pennant

EVERY_FORMAT = sorted(FORMATS)
SOUND = {extension: file_bytes(pennant(), extension) for extension in EVERY_FORMAT}


def warnings_of(folder: Path, content: bytes, extension: str) -> str:
    path = folder / f"pennant.{extension}"
    path.write_bytes(content)
    return "\n".join(read_design_file(path).warnings)


def edited(extension: str, at: int, new: bytes) -> bytes:
    whole = SOUND[extension]
    return whole[:at] + new + whole[at + len(new) :]


def without(extension: str, at: int, length: int) -> bytes:
    whole = SOUND[extension]
    return whole[:at] + whole[at + length :]


def pattern_of(design: Design, *, off_x: int = 0, off_y: int = 0) -> pyembroidery.EmbPattern:
    """Return the library's pattern of a drawn design, moved away from the start."""
    pattern = pyembroidery.EmbPattern()
    for block in design.blocks:
        pattern.add_thread({"hex": block.thread.hex, "description": block.thread.name})
    commands = {
        Act.STITCH: pyembroidery.STITCH,
        Act.TRIM: pyembroidery.TRIM,
        Act.CHANGE: pyembroidery.COLOR_CHANGE,
        Act.STOP: pyembroidery.STOP,
    }
    for act, x, y in steps(design):
        pattern.add_stitch_absolute(commands[act], x + off_x, y + off_y)
    pattern.end()
    return pattern


# What a sound file of these designs truly says, and a person may want to know. Some formats write a stop for
# a person as a thread change, or as another block of the same colour.
TRUE_OF_ALL = ("ask for the same colour: that is one threading",)
TRUE_WITH_STOPS = (
    "check the colour of each block",
    "and later have no colour yet",
    "colour changes; the file holds",
)


@pytest.mark.parametrize(("off_x", "off_y"), [(0, 0), (400, -900)], ids=["centred", "far-from-its-start"])
def test_a_sound_file_of_any_format_raises_no_alarm(tmp_path: Path, off_x: int, off_y: int) -> None:
    small = sorted(designs(), key=lambda design: measure(design).stitches)[:4]
    stopping = {design.name for design in small if any(block.stops for block in design.blocks)}
    assert 0 < len(stopping) < len(small)
    for design in small:
        for extension in EVERY_FORMAT:
            content = file_bytes(pattern_of(design, off_x=off_x, off_y=off_y), extension)
            (tmp_path / f"{design.name}.{extension}").write_bytes(content)
    for path, found in read_design_files(sorted(tmp_path.iterdir())):
        assert isinstance(found, ReadDesign), found
        true = TRUE_OF_ALL + TRUE_WITH_STOPS * (path.stem in stopping)
        assert [words for words in found.warnings if not any(fact in words for fact in true)] == [], path.name
        assert not any(each.is_grave for each in found.graded_warnings), path.name


def test_the_files_of_the_demo_raise_no_alarm() -> None:
    demo = Path(__file__).parents[3] / "fixtures" / "designs"
    for path, found in read_design_files(sorted(demo.iterdir())):
        assert isinstance(found, ReadDesign), found
        assert [words for words in found.warnings if TRUE_OF_ALL[0] not in words] == [], path.name


@pytest.mark.parametrize(
    ("extension", "content", "words"),
    [
        ("dst", lambda: without("dst", 700, 300), r"says 6\d\d stitches; the file holds 52\d"),
        (
            "dst",
            lambda: without("dst", 700, 3),
            r"says that the design ends .+ from its start; it ends .+ from",
        ),
        ("dst", lambda: edited("dst", 514, b"\0"), r"^1 of \d+ records is not as any writer writes them"),
        ("dst", lambda: edited("dst", 902, b"\x0f" * 12), r"^4 of \d+ records are not as any writer"),
        ("dst", lambda: edited("dst", 802, b"\xf3"), r"\d+ bytes follow the end of the stitches"),
        ("u01", lambda: without("u01", 700, 300), r"says 6\d\d stitches; the file holds 52\d"),
        ("u01", lambda: edited("u01", 256 + 60, b"\0"), r"^1 of \d+ records is not as any writer"),
        ("u01", lambda: edited("u01", 256 + 60, b"\xf8"), r"\d+ bytes follow the end of the stitches"),
        ("u01", lambda: edited("u01", 0x84, b"\xff\x0f"), r"reaches 30.0 and 409.5 mm to the sides"),
        ("u01", lambda: edited("u01", 256 + 61, b"\xf0"), r"1 stitch is longer than a record .+12\.7 mm"),
        ("pec", lambda: edited("pec", 8 + 515, b"\x09"), r"stitches end at byte 2,9\d\d; reading them ended"),
        ("pec", lambda: edited("pec", 600, b"\xff\0"), r"reading them ended at byte 602"),
        ("pec", lambda: without("pec", 600, 40), r"stitches may be missing or doubled"),
        ("pec", lambda: edited("pec", 8 + 520, b"\x01\x01"), r"says that the design is 25.7 x .+ mm; it is"),
        ("pec", lambda: edited("pec", 8 + 48, b"\x01"), r"says 1 colour changes; the file holds 3"),
        ("pes", lambda: edited("pes", 4, b"0077"), r"Version '0077' of PES files is not known"),
        ("pes", lambda: SOUND["pec"], r"It is a PEC file under the name of a PES file"),
        (
            "jef",
            lambda: edited("jef", 0, b"\xa0"),
            r"start at byte 160; its list of colours ends at byte 148",
        ),
        ("jef", lambda: edited("jef", 28, b"\x08\x08"), r"says 2,056 stitches; the file holds 621"),
        (
            "jef",
            lambda: edited("jef", 36, b"\x08\x08"),
            r"says that the design is 268.9 x 62.0 mm; it is 126.6 x 62.0 mm",
        ),
        ("xxx", lambda: edited("xxx", 0x17, b"\x08\x08"), r"says 2,056 stitches; the file holds 621"),
        ("xxx", lambda: edited("xxx", 0xFC, b"\0\2"), r"stitches end at byte 512; reading them ended at"),
        ("xxx", lambda: edited("xxx", 0xFC, b"\0\xff"), r"cut off or damaged"),
        (
            "vp3",
            lambda: edited("vp3", 0x44, b"\x7f"),
            r"block of the file says that it ends 8,323,072 bytes beyond",
        ),
        ("vp3", lambda: edited("vp3", SOUND["vp3"].index(b"\0\5\0") + 4, b"\1"), r"block of .*colour 1 ends"),
        (
            "vp3",
            lambda: edited("vp3", SOUND["vp3"].index(b"\0\1\0\0\0") + 4, b"\1"),
            r"stitches of colour 1 ends",
        ),
        (
            "vp3",
            lambda: edited("vp3", SOUND["vp3"].index(b"\0\3\0"), b"\7"),
            r"block of the design does not start",
        ),
        ("hus", lambda: edited("hus", 4, b"\x90\x01"), r"says 400 stitches"),
        ("exp", lambda: SOUND["exp"] + b"\x05", r"bytes where an even number belongs"),
        ("sew", lambda: SOUND["sew"] + b"\x05", r"bytes where an even number belongs"),
        ("exp", lambda: edited("exp", 400, b"\x80\x66"), r"stopped at a code that is not known"),
        ("tbf", lambda: edited("tbf", 0x10A, b"\1" * 40), r"lists 40 needles in their order but counts 4"),
        ("tbf", lambda: edited("tbf", 0x600 + 302, b"\x8f"), r"\d+ bytes follow the end of the stitches"),
        ("tbf", lambda: without("tbf", 0x600 + 300, 300), r"says 6\d\d stitches; the file holds 52\d"),
    ],
)
def test_damage_is_told_with_its_numbers(
    tmp_path: Path, extension: str, content: Callable[[], bytes], words: str
) -> None:
    assert re.search(words, warnings_of(tmp_path, content(), extension), re.MULTILINE)


def test_filler_after_the_end_is_no_damage(tmp_path: Path) -> None:
    for extension in ("dst", "u01", "jef", "tbf"):
        assert warnings_of(tmp_path, SOUND[extension] + b"\x1a" + bytes(500), extension) == ""


def test_a_header_in_which_nothing_stands_is_not_held_against_the_stitches(tmp_path: Path) -> None:
    assert warnings_of(tmp_path, b"LA:\r".ljust(512) + SOUND["dst"][512:], "dst") == ""
    assert warnings_of(tmp_path, bytes(256) + SOUND["u01"][256:], "u01") == ""


def stitched(*points: tuple[int, int], command: int = STITCH) -> StitchRecords:
    x, y = np.array(points, dtype=np.int32).T
    return StitchRecords(x_tenths=x, y_tenths=y, command=np.full(x.size, command, np.uint8))


def signs(records: StitchRecords) -> str:
    return "\n".join(each.text for each in signs_of_damage(records, record_limit_tenths=127))


def test_wide_satin_and_long_running_stitches_are_plausible() -> None:
    assert signs(stitched(*((4 * i, 120 * (i % 2)) for i in range(200)))) == ""
    assert signs(stitched(*((90 * i, 3 * i) for i in range(50)))) == ""
    corners = ((0, 0), (500, 0), (500, 500), (0, 500), (0, 0))
    square = [
        (a[0] + (b[0] - a[0]) * at // 5, a[1] + (b[1] - a[1]) * at // 5)
        for a, b in itertools.pairwise(corners)
        for at in range(5)
    ]
    assert signs(stitched(*square, (0, 0))) == ""


def test_a_file_of_a_few_stitches_and_rows_that_nobody_sews_are_told() -> None:
    calm = [(20 * i, 30 * (i % 2)) for i in range(100)]
    assert "holds no more than 5 stitches" in signs(stitched(*calm[:5]))
    assert signs(stitched(*calm[:20])) == ""
    knot = [(2000, 0)] * 41
    assert "40 stitches in a row" not in signs(stitched(*calm, *knot[:40]))
    # What was zero, or one step of 0.1 mm again and again, is sewn by nobody.
    assert re.search(
        r"60 stitches in a row, from stitch 102 on, pierce", signs(stitched(*calm, *[(2000, 0)] * 61))
    )
    cuts = stitched(*calm)
    cuts.command[50:60] = TRIM
    assert "10 cuts follow each other" in signs(cuts)
    cuts.command[50:58] = JUMP
    assert "cuts follow" not in signs(cuts)


def test_pairs_that_no_writer_writes_are_told(tmp_path: Path) -> None:
    line = b"\x10\x08" * 30
    for extension, head in (("exp", b""), ("sew", b"\1\0\1".ljust(0x1D78, b"\0"))):
        sound = head + line + b"\x80\x04\x20\x20" + line
        assert warnings_of(tmp_path, sound, extension) == ""
        for spoiled in (b"\x10\x80", b"\x80\x04\x80\x20", b"\x80\x04\x20\x80"):
            told = warnings_of(tmp_path, head + line + spoiled + line, extension)
            assert "1 of" in told, (extension, spoiled)
            assert "not as any writer writes them" in told
        assert "ends inside a command" in warnings_of(tmp_path, sound + b"\x80\x04", extension)
    for cut, odd in ((b"\x07\x00", False), (b"\0\0", False), (b"\x31\x42", True)):
        told = warnings_of(tmp_path, line + b"\x80\x80" + cut + line, "exp")
        assert ("not as any writer" in told) == odd


def test_a_last_thread_that_nothing_holds_is_told_where_all_others_are_held(tmp_path: Path) -> None:
    def run(x: int) -> list[tuple[int, int]]:
        return [(x + 20 * i, 0) for i in range(12)] + [(x + 220 + 6 * (i % 2), 0) for i in range(4)]

    def warnings(threads: int, *, last: int) -> str:
        pattern = EmbPattern()
        for number in range(threads):
            points = run(300 * number)
            for x, y in points[: last if number == threads - 1 else None]:
                pattern.stitch_abs(x, y)
            pattern.trim()
        pattern.end()
        return warnings_of(tmp_path, file_bytes(pattern, "exp"), "exp")

    assert "not that of the last" not in warnings(9, last=16)
    assert "Small stitches hold the end of each of 8 threads, and not that of the last" in warnings(
        9, last=10
    )
    # A few threads show no habit.
    assert "not that of the last" not in warnings(5, last=10)


def test_long_stitches_that_go_anywhere_are_told() -> None:
    rng = np.random.default_rng(5)
    steps = rng.integers(-127, 128, size=(40, 2))
    calm = [(20 * i, 0) for i in range(100)]
    wild = calm + [(2000 + x, y) for x, y in np.cumsum(steps, axis=0).tolist()]
    assert re.search(r"longer than 8 mm and go anywhere, from stitch 1[0-3]\d on", signs(stitched(*wild)))


def test_moves_that_lead_nowhere_are_told() -> None:
    assert "40 moves in a row lead nowhere" in signs(stitched(*([(0, 0)] * 41), command=JUMP))
    assert signs(stitched(*((127 * i, 0) for i in range(60)), command=JUMP)) == ""


def test_a_file_under_the_name_of_another_format_is_refused_or_told(tmp_path: Path) -> None:
    for extension in EVERY_FORMAT:
        for other in EVERY_FORMAT:
            (tmp_path / f"{other}.{extension}").write_bytes(SOUND[other])
    read_silently = {
        path.name
        for path, found in read_design_files(sorted(tmp_path.iterdir()))
        if isinstance(found, ReadDesign) and not found.warnings
    }
    assert read_silently == {f"{extension}.{extension}" for extension in EVERY_FORMAT}
