"""Files that are not what they say, hold too much, or are out to do harm: each is answered in words."""

import json
import os
import signal
import socket
import struct
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.stitch_files import child
from planning.stitch_files.formats import FORMATS
from planning.stitch_files.reading import (
    DEFAULT_LIMITS,
    MIB,
    PACKAGE_ROOT,
    ReadDesign,
    ReadLimits,
    UnreadableDesign,
    read_design_file,
)
from planning.stitch_files.recorder import Refused
from tests.planning.memory import most_memory
from tests.planning.written_files import DrawnBlock, file_bytes, hus_file, pattern_of, pennant, zigzag

EVERY_FORMAT = sorted(FORMATS)
SOUND_FILES = {extension: file_bytes(pennant(), extension) for extension in EVERY_FORMAT}
DST_HEADER = b"LA:big\r".ljust(512)
DST_STITCH, DST_JUMP, DST_END = b"\x01\x00\x03", b"\x00\x00\x83", b"\x00\x00\xf3"
TEXT = b"Dear harbour office, here is the badge for the crew caps, as we said on Monday.\r\n" * 200


def refusal(folder: Path, name: str, content: bytes, *, limits: ReadLimits = DEFAULT_LIMITS) -> str:
    """Return the words with which a file is refused."""
    path = folder / name
    path.write_bytes(content)
    with pytest.raises(UnreadableDesign) as caught:
        read_design_file(path, limits=limits)
    words = str(caught.value)
    assert words.startswith(name)
    assert words.endswith(".")
    assert not any(sign in words for sign in ("Traceback", "Error", "None", "\n"))
    return words


def answer_to(path: Path) -> ReadDesign | str:
    """Return the design, or the words with which the file is refused."""
    try:
        return read_design_file(path)
    except UnreadableDesign as problem:
        return str(problem)


def bits(*fields: tuple[int, int]) -> str:
    """Return (value, width) fields as a string of bits."""
    return "".join(f"{value:0{width}b}" for value, width in fields)


def bit_bytes(text: str) -> bytes:
    padded = text + "0" * (-len(text) % 8)
    return int(padded, 2).to_bytes(len(padded) // 8, "big")


def one_token_block(character: int, distance: int = 0) -> str:
    """Return the 54 bits of a compressed block that stands for 65,535 times the same token."""
    return bits((65_535, 16), (0, 5), (0, 5), (0, 9), (character, 9), (0, 5), (distance, 5))


def swollen_hus(count: int) -> bytes:
    """Return a HUS file of 269 bytes that says it holds ``count`` stitches, and indeed unfolds to as many."""
    commands, steps = (bit_bytes(one_token_block(literal) * 8 + "0" * 16) for literal in (0x80, 0))
    content = hus_file(count=count, colours=[3], commands=commands, x=steps, y=steps)
    return content + bytes(269 - len(content))


def hollow_hus(blocks: int) -> bytes:
    """Return a HUS file whose every compressed token looks far back into nothing and unfolds to nothing."""
    block = one_token_block(511, 11) + "0" * (10 * 65_535)
    stream = bit_bytes(block + block) * (blocks // 2)
    return hus_file(count=400_000, colours=[3], commands=stream, x=b"\0" * 8, y=b"\0" * 8)


def slow_dst() -> bytes:
    """Return a DST file with just as many records as are read, which takes seconds."""
    return DST_HEADER + (DST_STITCH + DST_JUMP) * 499_000 + DST_END


def hungry_hus() -> bytes:
    """Return a HUS file whose code table would take a hundred million bytes and more."""
    lengths = bits((31, 5), (7, 3), (0x1FFF, 13)) + bits((1, 3)) * 2 + bits((0, 2)) + bits((1, 3)) * 28
    return hus_file(
        count=1000,
        colours=[3],
        commands=bit_bytes(bits((9, 16)) + lengths) + bytes(9),
        x=b"\0" * 8,
        y=b"\0" * 8,
    )


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    assert refusal(tmp_path, "cap.pes", b"") == "cap.pes is empty. Copy or export it again."


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableDesign, match=r"^gone\.dst cannot be opened: no such file or directory\."):
        read_design_file(tmp_path / "gone.dst")


def test_a_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "caps.dst").mkdir()
    with pytest.raises(UnreadableDesign, match=r"^caps\.dst is not a file\."):
        read_design_file(tmp_path / "caps.dst")


@pytest.fixture
def _no_waiting() -> Iterator[None]:
    """Stop a test that waits for a device or a pipe for ever."""
    signal.alarm(20)
    yield
    signal.alarm(0)


@pytest.mark.skipif(sys.platform == "win32", reason="the system has no such devices")
@pytest.mark.usefixtures("_no_waiting")
@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null", "/dev/random", "/dev/stdin", "/dev/tty"])
def test_a_device_is_refused_by_its_name_and_behind_a_link(tmp_path: Path, device: str) -> None:
    with pytest.raises(UnreadableDesign, match="is not a kind of stitch file"):
        read_design_file(device)
    (tmp_path / "cap.dst").symlink_to(device)
    with pytest.raises(UnreadableDesign, match=r"^cap\.dst (is not a file|is empty|cannot be opened)"):
        read_design_file(tmp_path / "cap.dst")
    with pytest.raises(UnreadableDesign, match=r"^cap\.dst (is not a file|is empty|cannot be opened)"):
        read_design_file(device, name="cap.dst")


@pytest.mark.skipif(sys.platform == "win32", reason="the system has no such pipes")
@pytest.mark.usefixtures("_no_waiting")
def test_a_pipe_or_a_socket_is_refused_without_waiting_for_what_comes_through_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "cap.dst")
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(os.fspath(tmp_path / "cap.pes"))
        for name in ("cap.dst", "cap.pes"):
            (tmp_path / f"link to {name}").symlink_to(tmp_path / name)
            for path in (tmp_path / name, tmp_path / f"link to {name}"):
                with pytest.raises(UnreadableDesign, match=r"is not a file\. Choose a stitch file\.$"):
                    read_design_file(path)


@pytest.mark.skipif(sys.platform == "win32", reason="the system has no such pipes")
@pytest.mark.usefixtures("_no_waiting")
def test_a_pipe_that_takes_the_place_of_a_file_while_it_is_opened_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "cap.dst"
    path.write_bytes(file_bytes(pennant(), "dst"))
    before = path.stat()
    path.unlink()
    os.mkfifo(path)
    monkeypatch.setattr(Path, "stat", lambda self, **_: before)
    with pytest.raises(UnreadableDesign, match="is not a file"):
        read_design_file(path)


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right of their own there")
@pytest.mark.parametrize("target", ["cap.dst", "gone.dst", ".", "/proc/self/environ", "/proc/kmsg"])
def test_a_link_that_leads_nowhere_or_astray_is_refused(tmp_path: Path, target: str) -> None:
    (tmp_path / "cap.dst").symlink_to(target)
    with pytest.raises(UnreadableDesign, match=r"^cap\.dst (is not a file|is empty|cannot be opened: .+)\. "):
        read_design_file(tmp_path / "cap.dst")


@pytest.mark.parametrize("name", ["cap\0badge.dst", "cap" * 200 + ".dst", "cap.dst/badge.dst"])
def test_a_name_that_no_file_can_have_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "cap.dst").write_bytes(b"x")
    with pytest.raises(UnreadableDesign, match=r"cannot be opened: .+ Check where it is and who may read it"):
        read_design_file(tmp_path / name)


def test_a_file_of_a_gigabyte_is_refused_without_reading_it(tmp_path: Path) -> None:
    path = tmp_path / "large.dst"
    path.write_bytes(DST_HEADER)
    os.truncate(path, 1 << 30)
    with most_memory(1 * MIB), pytest.raises(UnreadableDesign, match="is larger than 20 MiB"):
        read_design_file(path)


@pytest.mark.parametrize("name", ["cap.docx", "cap", "cap.", ".pes"])
def test_an_unknown_extension_is_refused_with_those_that_are_known(tmp_path: Path, name: str) -> None:
    words = refusal(tmp_path, name, file_bytes(pennant(), "dst"))
    assert all(known.name in words for known in FORMATS.values())


@pytest.mark.parametrize("extension", EVERY_FORMAT)
def test_text_under_the_name_of_a_stitch_file_is_refused(tmp_path: Path, extension: str) -> None:
    words = refusal(tmp_path, f"cap.{extension}", TEXT)
    assert "it looks like a text file" in words or "it is a text file" in words
    assert "Check the file's name" in words


@pytest.mark.parametrize(
    ("name", "content", "seen"),
    [
        ("cap.dst", file_bytes(pennant(), "pes"), "a PES file"),
        ("cap.pes", file_bytes(pennant(), "dst"), "a DST file"),
        ("cap.exp", file_bytes(pennant(), "vp3"), "a VP3 file"),
        ("cap.jef", b"\x89PNG\r\n\x1a\n" + bytes(300), "a PNG picture"),
        ("cap.sew", b"PK\x03\x04" + bytes(range(256)) * 40, "a ZIP archive"),
        ("cap.vp3", b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(300), "a JPEG picture"),
    ],
)
def test_another_kind_of_file_is_named(tmp_path: Path, name: str, content: bytes, seen: str) -> None:
    assert f"it looks like {seen}" in refusal(tmp_path, name, content)


@pytest.mark.parametrize("extension", EVERY_FORMAT)
@pytest.mark.parametrize("keep", [1, 12, 200, 0.25, 0.5, 0.9, -1])
def test_a_truncated_file_is_refused_or_read_with_what_is_left(
    tmp_path: Path, extension: str, keep: float
) -> None:
    whole = file_bytes(pennant(), extension)
    path = tmp_path / f"cut.{extension}"
    path.write_bytes(whole[: int(keep * len(whole)) if isinstance(keep, float) else keep])
    answer = answer_to(path)
    if isinstance(answer, str):
        assert answer.startswith(f"cut.{extension} ")
        return
    assert answer.walked.stitches <= 621
    told = any("without an end record" in text or "header says" in text for text in answer.warnings)
    # A picture or a filler byte may be missing without harm, and two formats have no end record to miss.
    assert told or answer.walked.stitches == 621 or extension in ("exp", "sew")


@pytest.mark.parametrize("extension", sorted(set(EVERY_FORMAT) - {"exp", "sew", "xxx", "pes"}))
def test_half_a_file_is_read_with_a_warning(tmp_path: Path, extension: str) -> None:
    whole = file_bytes(pennant(), extension)
    start = {"dst": 512, "u01": 256, "tbf": 0x600}.get(extension, 0)
    path = tmp_path / f"half.{extension}"
    path.write_bytes(whole[: (start + len(whole)) // 2])
    if extension == "hus":
        with pytest.raises(UnreadableDesign, match="the bytes for them are missing"):
            read_design_file(path)
        return
    found = read_design_file(path)
    assert 0 < found.walked.stitches < 621
    assert any("stops without an end record" in text for text in found.warnings)


def test_a_file_cut_off_before_its_stitches_is_refused(tmp_path: Path) -> None:
    for name, keep in (("cut.jef", 120), ("cut.pes", 100)):
        words = refusal(tmp_path, name, SOUND_FILES[name[-3:]][:keep])
        assert "it ends before its stitches start" in words


def test_a_file_cut_off_before_its_colours_is_refused_where_they_must_be(tmp_path: Path) -> None:
    whole = file_bytes(pennant(), "xxx")
    words = refusal(tmp_path, "cut.xxx", whole[: len(whole) // 2])
    assert "no threads, which every XXX file must have. It seems to be cut off." in words


def test_a_pes_file_that_says_it_has_no_threads_is_refused(tmp_path: Path) -> None:
    content = bytearray(file_bytes(pennant(), "pec"))
    content[8 + 48] = 0xFF
    assert "has stitches but no threads" in refusal(tmp_path, "cap.pec", bytes(content))


def test_a_design_without_stitches_is_refused(tmp_path: Path) -> None:
    assert "has no stitches" in refusal(tmp_path, "bare.dst", DST_HEADER + DST_JUMP * 40 + DST_END)
    assert "has no stitches" in refusal(tmp_path, "bare.exp", b"\x80\x04\x20\x20" * 40)


def test_a_design_wider_than_a_metre_is_refused_with_its_size(tmp_path: Path) -> None:
    assert "banner.exp would be 1,012 x 0 mm; designs up to 1,000 mm are read" in refusal(
        tmp_path, "banner.exp", b"\x7d\x00" * 82
    )


def test_a_design_of_a_metre_is_read(tmp_path: Path) -> None:
    path = tmp_path / "banner.exp"
    path.write_bytes(b"\x7d\x00" * 81)
    assert read_design_file(path).walked.width_mm == 1000.0


def test_more_colour_blocks_than_200_are_refused(tmp_path: Path) -> None:
    block = b"\x14\x00\xec\x00" + b"\x80\x01\x00\x00"
    assert "has more than 200 colour blocks" in refusal(tmp_path, "patch.exp", block * 201)
    path = tmp_path / "patch.exp"
    path.write_bytes(block * 200)
    assert len(read_design_file(path).walked.blocks) == 200


def test_colour_changes_with_nothing_sewn_between_them_are_not_counted_as_blocks(tmp_path: Path) -> None:
    path = tmp_path / "patch.exp"
    path.write_bytes(b"\x80\x01\x00\x00" * 5000 + b"\x14\x00\xec\x00")
    assert len(read_design_file(path).walked.blocks) == 1


def test_600_000_stitches_are_refused_in_words(tmp_path: Path) -> None:
    content = DST_HEADER + (DST_STITCH + DST_JUMP) * 600_000 + DST_END
    assert len(content) > 3_600_000
    words = refusal(tmp_path, "huge.dst", content)
    assert words == (
        "huge.dst has more than 500,000 stitches, the most that is read. Split the design into parts."
    )


def test_bytes_after_the_end_record_are_not_counted_as_stitches(tmp_path: Path) -> None:
    path = tmp_path / "padded.dst"
    path.write_bytes(DST_HEADER + DST_STITCH * 40 + DST_END + DST_STITCH * 520_000)
    assert read_design_file(path).walked.stitches == 40


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("huge.exp", b"\x01\x00\xff\x00" * 260_000),
        ("huge.u01", bytes(256) + b"\x80\x00\x00" * 520_000),
    ],
)
def test_stitches_are_counted_while_they_are_read(tmp_path: Path, name: str, content: bytes) -> None:
    assert "has more than 500,000 stitches" in refusal(tmp_path, name, content)


def test_a_file_of_moves_without_end_is_refused(tmp_path: Path) -> None:
    limits = ReadLimits(stitches=1000)
    words = refusal(tmp_path, "moves.dst", DST_HEADER + DST_STITCH + DST_JUMP * 3000, limits=limits)
    assert "has more than 2,000 records, most of them moves without a stitch" in words


def test_a_small_hus_file_that_says_it_holds_millions_is_refused(tmp_path: Path) -> None:
    content = swollen_hus(5_000_000)
    assert len(content) == 269
    assert "has more than 500,000 stitches" in refusal(tmp_path, "bomb.hus", content)


def test_a_small_hus_file_that_unfolds_to_thousands_is_read_for_what_it_is(tmp_path: Path) -> None:
    path = tmp_path / "bomb.hus"
    path.write_bytes(swollen_hus(150_000))
    assert path.stat().st_size == 269
    found = read_design_file(path)
    assert found.walked.stitches in (150_000, 150_001)  # the reader unfolds one more than it was told
    assert found.warnings[0].startswith("100% of the stitches")


def test_a_hus_file_without_the_bytes_for_its_stitches_is_refused(tmp_path: Path) -> None:
    content = hus_file(count=1000, colours=[3], commands=b"", x=b"", y=b"")
    assert "says that it holds 1,000 stitches, but the bytes for them are missing" in refusal(
        tmp_path, "hollow.hus", content
    )


def test_a_hus_file_whose_compression_stands_for_nothing_is_refused(tmp_path: Path) -> None:
    assert "holds more than its bytes stand for" in refusal(tmp_path, "hollow.hus", hollow_hus(30))


def test_a_nearly_blank_pes_file_with_hundreds_of_threads_is_refused(tmp_path: Path) -> None:
    whole = file_bytes(pattern_of((DrawnBlock("#c01020", (zigzag(0, 0, stitches=12),)),)), "pes")
    at = whole.index(b"colour 1") - 13  # where the list of threads starts, behind their number
    assert whole[at - 2 : at] == b"\1\0"
    threads = bytes((0, 1, 2, 3, 0, 0, 0, 0, 0, 0, 0, 0)) * 300
    stitches_at = int.from_bytes(whole[8:12], "little") + len(threads)
    content = (
        whole[:8] + struct.pack("<I", stitches_at) + whole[12 : at - 2] + struct.pack("<H", 301) + threads
    )
    words = refusal(tmp_path, "blank.pes", content + whole[at:])
    assert "names 301 threads for 12 stitches, which need 1: it is damaged" in words


def test_a_pes_file_whose_header_points_elsewhere_is_refused(tmp_path: Path) -> None:
    content = bytearray(file_bytes(pennant(), "pes"))
    content[8] ^= 0x40
    assert "its stitches do not start where its header says" in refusal(tmp_path, "cap.pes", bytes(content))


def test_a_file_with_thousands_of_threads_is_refused(tmp_path: Path) -> None:
    colours = 5000
    content = struct.pack("<I20xI", 116 + 8 * colours, colours).ljust(116, b"\0")
    content += (
        struct.pack("<I", 5) * colours + struct.pack("<I", 13) * colours + b"\x14\x00" * 50 + b"\x80\x10"
    )
    assert "names more than 1,000 threads" in refusal(tmp_path, "threads.jef", content)


@pytest.mark.skipif(sys.platform == "win32", reason="the system has no such limit")
def test_a_file_that_takes_too_much_computing_is_refused(tmp_path: Path) -> None:
    words = refusal(tmp_path, "slow.dst", slow_dst(), limits=ReadLimits(cpu_seconds=1))
    assert "takes more than 1 seconds of computing to read" in words


def test_a_file_that_takes_too_long_is_refused(tmp_path: Path) -> None:
    words = refusal(tmp_path, "slow.dst", slow_dst(), limits=ReadLimits(wall_seconds=0.5))
    assert "was not read within 0.5 seconds" in words


@pytest.mark.skipif(sys.platform == "win32", reason="the system has no such limit")
def test_a_file_that_takes_too_much_memory_is_refused(tmp_path: Path) -> None:
    limits = ReadLimits(memory_bytes=100 * MIB)
    assert "needs more memory to read" in refusal(tmp_path, "hungry.hus", hungry_hus(), limits=limits)
    assert "has no stitches" in refusal(tmp_path, "hungry.hus", hungry_hus())


def test_a_file_larger_than_any_design_is_refused(tmp_path: Path) -> None:
    words = refusal(tmp_path, "large.dst", DST_HEADER + bytes(20 * MIB))
    assert "is larger than 20 MiB" in words


def test_a_fault_of_the_reading_program_is_not_blamed_on_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "cap.dst"
    path.write_bytes(file_bytes(pennant(), "dst"))
    (tmp_path / "pyembroidery.py").write_text("")
    monkeypatch.setattr("inventory.processes.children.PACKAGE_ROOT", tmp_path)
    with pytest.raises(
        UnreadableDesign, match=r"the reading program itself failed \(.+\)\. The file may be sound\."
    ):
        read_design_file(path)


@given(
    extension=st.sampled_from(EVERY_FORMAT),
    damage=st.lists(
        st.tuples(st.floats(0, 1, exclude_max=True), st.binary(min_size=1, max_size=8)), max_size=4
    ),
    keep=st.floats(0, 1),
)
def test_a_damaged_file_is_read_or_refused_and_never_lets_the_reader_fall(
    extension: str, damage: list[tuple[float, bytes]], keep: float
) -> None:
    whole = SOUND_FILES[extension]
    content = bytearray(whole)
    for place, filler in damage:
        at = int(place * len(whole))
        content[at : at + len(filler)] = filler
    del content[int(keep * len(whole)) + 1 :]
    try:
        header, recorder = child.read(bytes(content), extension=extension, stitches=5000, blocks=200)
    except Refused as refused:
        words = str(refused)
    else:
        words = ""
        assert header["records"] == len(recorder.commands) == len(recorder.x_tenths) == len(recorder.y_tenths)
        assert json.dumps(header)
    assert not words or words.endswith(".")


def bad_files() -> dict[str, Callable[[], bytes]]:
    """Return the worst of the files above, and some more, by name."""
    files: dict[str, Callable[[], bytes]] = {
        "empty.pes": lambda: b"",
        "text.pes": lambda: TEXT,
        "huge.dst": lambda: DST_HEADER + (DST_STITCH + DST_JUMP) * 600_000 + DST_END,
        "full.exp": lambda: (b"\x01\x00\x80\x04\x00\x00" + b"\xff\x00\x80\x04\x00\x00") * 250_000,
        "zeros.exp": lambda: bytes(20 * MIB),
        "zeros.vp3": lambda: b"%vsm%\0" + bytes(20 * MIB - 6),
        "zeros.xxx": lambda: bytes(20 * MIB),
        "zeros.pes": lambda: b"#PES0001" + bytes(20 * MIB - 8),
        "bomb.hus": lambda: swollen_hus(5_000_000),
        "half-bomb.hus": lambda: swollen_hus(499_999),
        "hungry.hus": hungry_hus,
        "unknown.docx": lambda: TEXT,
    }
    for extension in EVERY_FORMAT:
        whole = file_bytes(pennant(), extension)
        files[f"cut.{extension}"] = lambda whole=whole: whole[: len(whole) // 2]  # type: ignore[misc]
        files[f"burnt.{extension}"] = lambda whole=whole: whole[:600] + b"\xff" * 40  # type: ignore[misc]
    return files


READ_ALL = """
import json, resource, sys
from pathlib import Path
from planning.stitch_files.reading import UnreadableDesign, read_design_file

def most_memory_mib():
    status = Path("/proc/self/status")
    if status.exists():  # unlike getrusage it forgets what this process was before it became this program
        return int(status.read_text().partition("VmHWM:")[2].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 / (1024 if sys.platform == "darwin" else 1)

answers = {}
for path in sorted(Path(sys.argv[1]).iterdir()):
    try:
        answers[path.name] = ["read", read_design_file(path).walked.stitches]
    except UnreadableDesign as problem:
        answers[path.name] = ["refused", str(problem)]
print(json.dumps({"answers": answers, "memory_mib": most_memory_mib()}))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="memory is measured with the resource module")
def test_bad_files_are_answered_in_words_with_little_memory_and_no_traceback(tmp_path: Path) -> None:
    files = bad_files()
    for name, content in files.items():
        (tmp_path / name).write_bytes(content())
    done = subprocess.run(
        [sys.executable, "-c", READ_ALL, str(tmp_path)], cwd=PACKAGE_ROOT, capture_output=True, text=True
    )
    assert done.stderr == ""
    report = json.loads(done.stdout)
    assert report["answers"].keys() == files.keys()
    for name, (answer, words) in report["answers"].items():
        assert answer == "read" or words.startswith(f"{name} ")
        assert "reading program itself" not in str(words)
    assert report["answers"]["full.exp"] == ["read", 500_000]
    assert report["memory_mib"] < 200


def test_no_colour_is_invented_for_a_block_that_the_file_leaves_without_one(tmp_path: Path) -> None:
    content = bytearray(file_bytes(pennant(), "xxx"))
    content[0x27] = 2
    path = tmp_path / "cap.xxx"
    path.write_bytes(bytes(content))
    found = read_design_file(path)
    assert [block.thread and block.thread.hex for block in found.walked.blocks] == [
        "#c01020",
        "#103070",
        None,
        None,
    ]
