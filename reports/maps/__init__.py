"""Web maps that open with no internet: one page a block, and one for the whole cooperative.

May import `layers`, `estate` (never `estate.app`), `reports.palette`, `reports.assets` and
`reports.plan_view`.
"""

from reports.maps.block_map import block_map
from reports.maps.overview_map import overview_map
from reports.maps.spoken import in_language
from reports.maps.wording import ENGLISH

__all__ = ["ENGLISH", "block_map", "in_language", "overview_map"]
