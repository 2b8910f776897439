"""What the planner knows: designs, machines, hoops, fabrics and the workshop's rules."""

from planning.models.designs import Block, Design
from planning.models.fabrics import Fabric, Layer
from planning.models.machines import Hoop, Machine, NeedleNote
from planning.models.rules import Rules

__all__ = ["Block", "Design", "Fabric", "Hoop", "Layer", "Machine", "NeedleNote", "Rules"]
