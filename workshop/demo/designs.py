"""The demo's designs, and the batch that it plans with one of them."""

import hashlib
from datetime import date, datetime
from pathlib import Path

from planning.compute.batch.plan import BatchPlan
from planning.library.designs import asked_from_record, keep_design
from planning.models import Design
from planning.plan.ask import Question, chosen_machine, plan, question_named
from planning.stitch_files.reading import read_design_file
from workshop.demo.files import FIXTURES, Batch, demo_designs

# README begins with it: the newest of them, it is there to be ticked on Today.
ASKED_ABOUT_FIRST = "crew-cap-badge"


def keep_demo_designs(*, at: datetime, machine: str, fixtures: Path = FIXTURES) -> dict[str, Design]:
    """Return the demo's designs by the names of their files; a file is read only the first time.

    A person may have kept the same content before, under another name.

    Raises DemoMissing, and UnreadableDesign for a file that was spoiled.
    """
    trim_at_jumps = chosen_machine(machine).trim_at_jumps
    kept = {}
    for path in sorted(demo_designs(fixtures), key=lambda path: path.stem == ASKED_ABOUT_FIRST):
        known = Design.objects.filter(sha256=hashlib.sha256(path.read_bytes()).hexdigest()).first()
        kept[path.stem] = known or keep_design(
            read_design_file(path, trim_at_jumps=trim_at_jumps),
            content=path,
            trim_at_jumps=trim_at_jumps,
            at=at,
        )
    return kept


def plan_demo_batch(batch: Batch, design: Design, *, needed_on: date) -> BatchPlan:
    """Return the plan for the demo's batch, from the shelf as it stands."""
    question = Question(
        pieces=batch.pieces,
        needed_on=needed_on,
    )
    named = question_named(question, fabric=batch.fabric, machine=batch.machine, hoop=batch.hoop)
    return plan([asked_from_record(design)], named)
