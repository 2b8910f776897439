"""What the planner knows: designs, machines, hoops, fabrics and the workshop's rules."""

from planning.models.cuts import JobCut
from planning.models.designs import Block, Design, ImportedFile, ImportRun, StitchOutNote, Tag
from planning.models.fabrics import Fabric, Layer
from planning.models.jobs import Job, NamedPiece, PlacedDesign
from planning.models.machines import Hoop, Machine, NeedleNote
from planning.models.rules import Rules

__all__ = [
    "Block",
    "Design",
    "Fabric",
    "Hoop",
    "ImportRun",
    "ImportedFile",
    "Job",
    "JobCut",
    "Layer",
    "Machine",
    "NamedPiece",
    "NeedleNote",
    "PlacedDesign",
    "Rules",
    "StitchOutNote",
    "Tag",
]
