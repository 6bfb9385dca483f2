"""An invented cooperative, written as raw layers from a fixed random state.

Only the demo's command imports this package, when it is called; no production code does.
"""

from estate.app.demo.files import demo_day, demo_truth, true_stand, write_demo

__all__ = ["demo_day", "demo_truth", "true_stand", "write_demo"]
