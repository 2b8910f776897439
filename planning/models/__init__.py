"""What the planner knows: designs, machines, hoops, fabrics and the workshop's rules."""

from planning.models.designs import Block, Design, ImportedFile, ImportRun, StitchOutNote, Tag
from planning.models.fabrics import Fabric, Layer
from planning.models.jobs import Job, NamedPiece, PlacedDesign
from planning.models.machines import Hoop, Machine, NeedleNote
from planning.models.pins import LeftOutShade, PinnedShade
from planning.models.rules import Rules, Strictness

__all__ = [
    "Block",
    "Design",
    "Fabric",
    "Hoop",
    "ImportRun",
    "ImportedFile",
    "Job",
    "Layer",
    "LeftOutShade",
    "Machine",
    "NamedPiece",
    "NeedleNote",
    "PinnedShade",
    "PlacedDesign",
    "Rules",
    "StitchOutNote",
    "Strictness",
    "Tag",
]
