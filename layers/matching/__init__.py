"""Joining girth points to trees, with how sure each join is.

May import the rest of `layers` and third-party libraries.
"""

from layers.matching.field_list import field_list
from layers.matching.survey import SurveyMatch, match_points, match_survey

__all__ = ["SurveyMatch", "field_list", "match_points", "match_survey"]
