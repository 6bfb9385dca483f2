"""The trade: standards, girth, panels, sun, tasks and the project's store.

May import `layers`; only the entry points in `estate.app` may import `reports` too.
"""

from estate.standards import OpeningStandard, standard_named, standards

__all__ = ["OpeningStandard", "standard_named", "standards"]
