"""Stitch files that come through the browser: bounded, read in their own process, kept by content."""

import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler, StopUpload
from django.utils.translation import gettext as _

from planning.library.designs import keep_design
from planning.models import Design
from planning.stitch_files.reading import DEFAULT_LIMITS, MIB, UnreadableDesign, read_design_file

MOST_BYTES = 60 * MIB


class BoundedUpload(FileUploadHandler):
    """Stop an upload that is larger than ``MOST_BYTES`` in all, before anything of it is kept.

    The view finds ``request.upload_refused`` and says so; the other fields of the form, which the page sends
    before the files, are still there.
    """

    def handle_raw_input(
        self, input_data: Any, META: Any, content_length: int, *args: Any, **kwargs: Any
    ) -> None:
        self.refused = content_length > MOST_BYTES

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        if self.refused:
            self.request.upload_refused = (  # type: ignore[union-attr]
                _(
                    "The files are larger than {most} MiB together. Send fewer at once, and check that they are "
                    "stitch files."
                ).format(most=MOST_BYTES // MIB)
            )
            raise StopUpload(connection_reset=False)

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None


@dataclass(frozen=True)
class Refusal:
    """A file that could not be read, and why."""

    name: str
    reason: str


def keep_uploads(
    files: Iterable[UploadedFile], *, trim_at_jumps: int, at: datetime
) -> tuple[list[Design], list[Refusal]]:
    """Return the designs kept from ``files`` and a refusal in words for each file that is none."""
    designs, refusals = [], []
    with tempfile.TemporaryDirectory(prefix="enough-thread-") as folder:
        for number, file in enumerate(files):
            name = Path(file.name or "file").name
            if (file.size or 0) > DEFAULT_LIMITS.file_bytes:
                limit = DEFAULT_LIMITS.file_bytes // MIB
                refusals.append(
                    Refusal(
                        name,
                        _("{name} is larger than {limit} MiB, the most that is read.").format(
                            name=name, limit=limit
                        ),
                    )
                )
                continue
            # Its own name could be anything; only the ending tells the format.
            path = Path(folder) / f"{number}{Path(name).suffix[:8].lower()}"
            with path.open("wb") as copy:
                for chunk in file.chunks():
                    copy.write(chunk)
            try:
                read = read_design_file(path, trim_at_jumps=trim_at_jumps, name=name)
            except UnreadableDesign as problem:
                refusals.append(Refusal(name, str(problem)))
                continue
            kept = keep_design(read, content=path, trim_at_jumps=trim_at_jumps, at=at)
            # Of several formats of one drawing the library plans with one, which may be the one with colours.
            designs.append(kept.variant_of or kept)
    return designs, refusals
