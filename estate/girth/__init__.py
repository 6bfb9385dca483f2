"""From taped girths to a decision: clean, grow, estimate, class, and judge each block.

May import `layers` and, of `estate`, its figures and standards only.
"""

from estate.girth.block_growth import growth_curve, growth_tapes
from estate.girth.classes import NearReady, classify
from estate.girth.clean import clean_girths
from estate.girth.decision import DecisionRule
from estate.girth.estimate import estimate_girth
from estate.girth.growth import GrowthModel, fit_growth
from estate.girth.on_date import StandOnDate, stand_on_date
from estate.girth.readiness import block_readiness
from estate.girth.sampling import sample_design, sample_effort, sample_size
from estate.girth.surface import GirthRaster, girth_surface, write_girth_raster
from estate.girth.tapes import taped_trees

__all__ = [
    "DecisionRule",
    "GirthRaster",
    "GrowthModel",
    "NearReady",
    "StandOnDate",
    "block_readiness",
    "classify",
    "clean_girths",
    "estimate_girth",
    "fit_growth",
    "girth_surface",
    "growth_curve",
    "growth_tapes",
    "sample_design",
    "sample_effort",
    "sample_size",
    "stand_on_date",
    "taped_trees",
    "write_girth_raster",
]
