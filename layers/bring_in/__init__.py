"""Files to frames: reads the user's layers in any format and CRS into the contract's form.

May import the rest of `layers` and third-party libraries only.
"""

from layers.bring_in.intake import Intake, IntakeError, bring_in
from layers.bring_in.reading import Source

__all__ = ["Intake", "IntakeError", "Source", "bring_in"]
