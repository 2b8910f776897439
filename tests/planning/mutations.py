"""Stitch files spoiled as disks, mails and people spoil them, from a seed: the same seed gives the same files."""

import io
import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pyembroidery import EmbPattern, PesReader

from planning.stitch_files.formats import FORMATS
from planning.stitch_files.formats.signatures import pec_block_at
from tests.planning.written_files import file_bytes, pennant

DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
# Three times as long as the others, and no other in kind.
TOO_LONG = ("lighthouse.pes",)

Field = tuple[int, int]  # where it starts, and its bytes


@dataclass(frozen=True)
class Original:
    name: str
    content: bytes

    @property
    def extension(self) -> str:
        return self.name.rpartition(".")[2]


@dataclass(frozen=True)
class Mutant:
    """A spoiled file: the name that it goes under, how it was spoiled, and what it was."""

    name: str
    kind: str
    original: Original
    content: bytes


@cache
def originals() -> dict[str, tuple[Original, ...]]:
    """Return sound files of every format: those of the demo, and a small one."""
    badge = EmbPattern()
    PesReader.read(io.BytesIO((DESIGNS / "crew-cap-badge.pes").read_bytes()), badge)
    found = {}
    for extension in sorted(FORMATS):
        demo = [
            Original(path.name, path.read_bytes())
            for path in sorted(DESIGNS.glob(f"*.{extension}"))
            if path.name not in TOO_LONG
        ]
        if not demo:
            demo = [Original(f"crew-cap-badge.{extension}", file_bytes(badge, extension))]
        found[extension] = (*demo, Original(f"pennant.{extension}", file_bytes(pennant(), extension)))
    return found


def mutants(count: int, *, seed: int) -> Iterator[Mutant]:
    """Yield ``count`` spoiled files, every format and every way of spoiling in turn."""
    extensions = sorted(FORMATS)
    for number in range(count):
        rng = random.Random(f"{seed}-{number}")
        extension = extensions[number % len(extensions)]
        kind = rng.choice(list(WAYS))
        original = rng.choice(originals()[extension])
        yield Mutant(f"{number:05}-{kind}.{extension}", kind, original, WAYS[kind](original, rng))


def _span(size: int, rng: random.Random) -> Field:
    """Return a span anywhere in a file: most are short, some a quarter of it."""
    length = min(int(2 ** rng.uniform(0, 14)), max(size // 4, 1))
    return rng.randrange(size - length + 1), length


def cut(original: Original, rng: random.Random) -> bytes:
    return original.content[: rng.randrange(len(original.content))]


def flipped(original: Original, rng: random.Random) -> bytes:
    content = bytearray(original.content)
    for _ in range(rng.choice((1, 2, 4, 16, 64))):
        content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
    return bytes(content)


def burnt(original: Original, rng: random.Random) -> bytes:
    """Return the file with a run of bytes overwritten: with one value, or with anything."""
    at, length = _span(len(original.content), rng)
    filler = bytes((rng.choice((0, 0xFF, 0x20, 0x80)),)) * length
    return _with(original.content, at, rng.choice((filler, rng.randbytes(length))))


def header_damaged(original: Original, rng: random.Random) -> bytes:
    end = HEADERS[original.extension](original.content)
    length = min(rng.choice((1, 2, 4, 16, 64)), end)
    return _with(original.content, rng.randrange(end - length + 1), rng.randbytes(length))


def garbage(original: Original, rng: random.Random) -> bytes:
    """Return any bytes, or any bytes behind a sound header."""
    kept = rng.choice((0, HEADERS[original.extension](original.content)))
    return original.content[:kept] + rng.randbytes(rng.choice((10, 500, 5_000, 20_000)))


def length_edited(original: Original, rng: random.Random) -> bytes:
    """Return the file with another number in a field that says how many or how long."""
    fields = LENGTHS[original.extension](original.content)
    if not fields:
        return flipped(original, rng)
    at, size = rng.choice(fields)
    old = original.content[at : at + size]
    if re.fullmatch(rb" *\d+", old):
        new = b"%*d" % (size, rng.choice((0, 1, int(old) + rng.randint(1, 99), rng.randrange(10**size))))
        return _with(original.content, at, new[:size])
    most = 256**size
    value = rng.choice(
        (0, 1, most - 1, int.from_bytes(old, "little") + rng.randint(-9, 9), rng.randrange(most))
    )
    return _with(original.content, at, (value % most).to_bytes(size, "little"))


def doubled(original: Original, rng: random.Random) -> bytes:
    at, length = _span(len(original.content), rng)
    return original.content[: at + length] + original.content[at:]


def removed(original: Original, rng: random.Random) -> bytes:
    at, length = _span(len(original.content), rng)
    return original.content[:at] + original.content[at + length :]


def renamed(original: Original, rng: random.Random) -> bytes:
    """Return a sound file of another format, which goes under this one's name."""
    other = rng.choice([each for each in sorted(FORMATS) if each != original.extension])
    return rng.choice(originals()[other]).content


def _with(content: bytes, at: int, filler: bytes) -> bytes:
    return content[:at] + filler + content[at + len(filler) :]


WAYS: dict[str, Callable[[Original, random.Random], bytes]] = {
    "cut": cut,
    "flipped": flipped,
    "burnt": burnt,
    "header": header_damaged,
    "garbage": garbage,
    "renamed": renamed,
    "length": length_edited,
    "doubled": doubled,
    "removed": removed,
}
HEADERS: dict[str, Callable[[bytes], int]] = {
    "dst": lambda data: 512,
    "exp": lambda data: 16,
    "hus": lambda data: 42,
    "jef": lambda data: 116,
    "pec": lambda data: 540,
    "pes": lambda data: pec_block_at(data) + 532,
    "sew": lambda data: 64,
    "tbf": lambda data: 0x600,
    "u01": lambda data: 256,
    "vp3": lambda data: 300,
    "xxx": lambda data: 256,
}


def _numbers(data: bytes) -> list[Field]:
    """Return the numbers in a header of lines."""
    return [match.span(1) for match in re.finditer(rb"(?:ST|CO|[+-][XY]):( *\d+)", data[:0x200])]


def _pec_lengths(data: bytes) -> list[Field]:
    at = pec_block_at(data)
    return [(at + 48, 1), (at + 514, 3), (at + 520, 2), (at + 522, 2)]


def _vp3_lengths(data: bytes) -> list[Field]:
    marks = re.finditer(rb"\0[\1\2\3\5]\0(?=\0\0..)", data, re.DOTALL)
    return [(6, 2), *((match.end() + 2, 2) for match in marks)]


LENGTHS: dict[str, Callable[[bytes], list[Field]]] = {
    "dst": lambda data: [(start, end - start) for start, end in _numbers(data)],
    "exp": lambda data: [],
    "hus": lambda data: [(4, 4), (8, 4), (20, 4), (24, 4), (28, 4)],
    "jef": lambda data: [(0, 4), (24, 4), (28, 4)],
    "pec": _pec_lengths,
    "pes": lambda data: [(8, 4), *_pec_lengths(data)],
    "sew": lambda data: [(0, 2)],
    "tbf": lambda data: [*((start, end - start) for start, end in _numbers(data)), (0x10A, 1), (0x10B, 1)],
    "u01": lambda data: [(0x80, 2), (0x82, 2), (0x84, 2), (0x86, 2), (0x8C, 4)],
    "vp3": _vp3_lengths,
    "xxx": lambda data: [(0x17, 4), (0x27, 2), (0xFC, 4)],
}
