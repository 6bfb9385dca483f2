"""Drawings to scale, as strokes and labels in millimetres: task maps, panels, compasses.

May import `estate.panels`, `reports.palette` and `reports.words`.
"""

from reports.drawings.compass import compass_word, face_compass
from reports.drawings.scales import ScaleBar, round_scale, scale_bar
from reports.drawings.strokes import Area, Disc, Drawing, Label, Shape, Stroke, Symbol
from reports.drawings.task_map import TaskGround, draw_task_map
from reports.drawings.trunk import standing_tree, unrolled_trunk

__all__ = [
    "Area",
    "Disc",
    "Drawing",
    "Label",
    "ScaleBar",
    "Shape",
    "Stroke",
    "Symbol",
    "TaskGround",
    "compass_word",
    "draw_task_map",
    "face_compass",
    "round_scale",
    "scale_bar",
    "standing_tree",
    "unrolled_trunk",
]
