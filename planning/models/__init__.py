"""What the planner knows: designs, machines, hoops, fabrics and the workshop's rules."""

from planning.models.appliques import Applique, AppliqueStop
from planning.models.cuts import JobCut, KeptStrips
from planning.models.designs import Block, Design, ImportedFile, ImportRun, StitchOutNote, Tag
from planning.models.fabrics import Fabric, Layer, no_cloth
from planning.models.jobs import Job, NamedPiece, PlacedDesign
from planning.models.machines import Hoop, Machine, NeedleNote
from planning.models.observations import FactorReset, Observation, ToldChange
from planning.models.pins import LeftOutShade, PinnedShade
from planning.models.remembered import RememberedColour
from planning.models.rules import Rules, Strictness
from planning.models.runs import Promise, PromisedSpool, PromisedThread, Reopening, RunEvent, RunReport

__all__ = [
    "Applique",
    "AppliqueStop",
    "Block",
    "Design",
    "Fabric",
    "FactorReset",
    "Hoop",
    "ImportRun",
    "ImportedFile",
    "Job",
    "JobCut",
    "KeptStrips",
    "Layer",
    "LeftOutShade",
    "Machine",
    "NamedPiece",
    "NeedleNote",
    "Observation",
    "PinnedShade",
    "PlacedDesign",
    "Promise",
    "PromisedSpool",
    "PromisedThread",
    "RememberedColour",
    "Reopening",
    "Rules",
    "RunEvent",
    "RunReport",
    "StitchOutNote",
    "Strictness",
    "Tag",
    "ToldChange",
    "no_cloth",
]
