"""Pictures of designs: drawn as thread, as a map of density, and stitch by stitch along a line."""

from planning.compute.picture.density import STEPS, DensityMap, DensityStep, density
from planning.compute.picture.drawing import draw
from planning.compute.picture.frame import (
    LEAST_WIDTH_PX,
    MOST_WIDTH_PX,
    DrawnBlock,
    NoSuchPicture,
    NothingToDraw,
    Rgb,
    picture_size,
)
from planning.compute.picture.strip import SequenceStrip, strip, strip_height

__all__ = [
    "LEAST_WIDTH_PX",
    "MOST_WIDTH_PX",
    "STEPS",
    "DensityMap",
    "DensityStep",
    "DrawnBlock",
    "NoSuchPicture",
    "NothingToDraw",
    "Rgb",
    "SequenceStrip",
    "density",
    "draw",
    "picture_size",
    "strip",
    "strip_height",
]
