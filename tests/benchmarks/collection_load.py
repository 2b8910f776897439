"""How a large collection is passed over that the library knows, in a process of its own on a database of its own.

``python -m tests.benchmarks.collection_load FOLDER`` answers in JSON: seconds of processor until a run that was killed
half-way reads its next file, until all are passed over as unchanged, and until all are known by their content in
another place. What the library knows is written as its own runs would have left it.
"""

import hashlib
import json
import os
import resource
import sys
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
django.setup()

from django.utils import timezone  # noqa: E402  the database needs Django to be set up

from planning.library.importing import _in_folder, import_folder  # noqa: E402
from planning.models import Design, ImportedFile, ImportRun  # noqa: E402
from tests.benchmarks.processor import processor_s  # noqa: E402

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


class GoesOn(Exception):
    """The next file that is not known would be read now."""


def main() -> None:
    folder = Path(sys.argv[1]).resolve()
    candidates, _ = _in_folder(folder)
    half = len(candidates) // 2
    run = ImportRun.objects.create(source=str(folder), asked_at=NOW, started_at=NOW, alive_at=NOW)
    _as_kept(run, candidates[:half])
    told: dict[str, float] = {}
    _passed_over(folder, told, "resume", stop_at_next=True)
    _as_kept(run, candidates[half:])
    _passed_over(folder, told, "skip")
    ImportedFile.objects.all().delete()  # as if the collection had been moved
    _passed_over(folder, told, "moved")
    told["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(json.dumps(told))


def _passed_over(folder: Path, told: dict[str, float], name: str, *, stop_at_next: bool = False) -> None:
    seen: list[ImportRun] = []

    def tell(run: ImportRun) -> None:
        seen.append(run)
        if stop_at_next and len(seen) == 2:  # once for what was found, once for what is unchanged
            raise GoesOn

    def work() -> None:
        with suppress(GoesOn):
            import_folder(folder, trim_at_jumps=3, clock=timezone.now, tell=tell)

    told[f"{name}_s"] = processor_s(work)
    told[f"{name}_known"] = seen[-1].known


def _as_kept(run: ImportRun, candidates: list) -> None:
    designs = Design.objects.bulk_create(
        Design(
            name=each.path.stem,
            sha256=hashlib.sha256(each.path.read_bytes()).hexdigest(),
            format="DST",
            width_mm=10,
            height_mm=10,
            stitches=10,
            trims=0,
            trim_at_jumps=3,
            size_bytes=each.size_bytes,
            added_at=NOW,
        )
        for each in candidates
    )
    ImportedFile.objects.bulk_create(
        ImportedFile(
            run=run,
            path=each.record,
            size_bytes=each.size_bytes,
            modified_ns=each.modified_ns,
            outcome=ImportedFile.Outcome.KEPT,
            design=design,
        )
        for each, design in zip(candidates, designs, strict=True)
    )


if __name__ == "__main__":
    main()
