"""Stabilizer cut from rolls, sheets and offcuts with little waste: values, plan and check."""

from planning.compute.stabilizer.cutting.checking import CutProblem, cut_problems
from planning.compute.stabilizer.cutting.values import (
    LEAST_USEFUL_MM,
    CutOrder,
    CutPiece,
    CutPlan,
    CutStock,
    Flat,
    PieceNeed,
    Rest,
    Roll,
    SourceCut,
    Strip,
)
from planning.compute.stabilizer.cutting.whole import plan_cut

__all__ = [
    "LEAST_USEFUL_MM",
    "CutOrder",
    "CutPiece",
    "CutPlan",
    "CutProblem",
    "CutStock",
    "Flat",
    "PieceNeed",
    "Rest",
    "Roll",
    "SourceCut",
    "Strip",
    "cut_problems",
    "plan_cut",
]
