"""The trade: standards, girth, panels, sun, tasks and the project's store.

May import `layers`; only the entry points in `estate.app` may import `reports` too.
"""

from estate.girth import (
    DecisionRule,
    NearReady,
    block_readiness,
    classify,
    clean_girths,
    estimate_girth,
    sample_design,
    sample_effort,
    taped_trees,
)
from estate.standards import OpeningStandard, standard_named, standards

__all__ = [
    "DecisionRule",
    "NearReady",
    "OpeningStandard",
    "block_readiness",
    "classify",
    "clean_girths",
    "estimate_girth",
    "sample_design",
    "sample_effort",
    "standard_named",
    "standards",
    "taped_trees",
]
