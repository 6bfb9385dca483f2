"""Every word that stands on a web map, by a short name, in the reader's language.

The catalogue is gettext's, one a language, beside this file; its messages are the English words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from reports.words import read_catalogue

DOMAIN = "maps"
LOCALE_FOLDER = Path(__file__).parent / "locale"

ENGLISH: Mapping[str, str] = MappingProxyType(
    {
        # The bar, the sheets and their buttons.
        "find": "Find",
        "show": "Show",
        "tools": "Tools",
        "key": "Key",
        "measure": "Measure",
        "close": "Close",
        "nearer": "Nearer",
        "farther": "Farther",
        "whole": "Whole map",
        "night": "Night",
        "day": "Day",
        "north": "North",
        "map_of": "Map of {name}",
        "girths_on": "Girths and classes of {date}",
        "block": "Block",
        "member": "Member",
        "holding": "Holding",
        "planted": "Planted",
        "years_old": "{years} years old",
        "area": "Area",
        "hectares": "{value} ha",
        "metres": "{value} m",
        "kilometres": "{value} km",
        "trees_short": "Trees",
        "standard": "Opening standard",
        "too_old": "This browser is too old to open the map: use one from 2021 or later.",
        "drawing": "Drawing the map …",
        # Finding.
        "find_hint_block": "Row and tree, as 4-12; a tree, row or task by name; a member",
        "find_hint_overview": "A member, holding or block",
        "found_none": "Nothing by that name on this map.",
        "found_more": "… and {count} more: write more of the name.",
        "row": "Row {row}",
        "row_tree": "Row {row}, tree {tree}",
        "row_short": "R{row}",
        # Showing.
        "ground": "Ground",
        "plain": "Plain",
        "shade": "Hill shade",
        "slope": "Slope",
        "girth_surface": "Girth to expect",
        "holdings": "Holdings",
        "rows": "Rows",
        "trees": "Trees by class",
        "doubts": "Doubtful joins",
        "walks": "Walks and stops",
        "contours": "Contours",
        "places": "Places, roads, water",
        "tape": "Trees to tape",
        "tape_number": "number {number} of the survey",
        "rose": "Sun on the bark",
        "all_tasks": "All tasks",
        "one_task": "Task",
        # Key.
        "key_trees": "Trees",
        "key_lines": "Lines",
        "key_places": "Places",
        "key_decisions": "Blocks",
        "slope_deg": "Slope, degrees",
        "girth_cm": "Girth, cm",
        "plus_minus": "±: two times in three the true figure lies this near.",
        "contour_every": "Contour every {metres} m",
        "less_than": "below {high}",
        "more_than": "{low} and above",
        "from_to": "{low} to {high}",
        "under": "under {number}",
        "over": "over {number}",
        "ready": "Ready",
        "near-ready": "Near-ready",
        "mature": "Mature: tapped upward",
        "immature": "Immature",
        "unmeasured": "Unmeasured",
        "vacant": "Vacant place",
        "dead": "Dead",
        "dry": "Dry: leave it alone",
        "holding_line": "Edge of a holding",
        "block_line": "Edge of a block",
        "row_line": "Row",
        "walk_line": "Walk, in the direction of the arrowheads",
        "walk_start": "Start of a task",
        "doubt_line": "From a girth point to its likeliest tree; broken: to the second likeliest",
        "stream": "Stream",
        "drain": "Drain",
        "fence": "Fence",
        "road": "Road",
        "cliff": "Cliff",
        "collection": "Collection place",
        "crossing": "Crossing",
        "shelter": "Shelter",
        "gate": "Gate",
        "no_crossing": "not to be crossed",
        # A tree.
        "girth": "Girth",
        "girth_known": "{girth} cm ± {error} cm",
        "girth_unknown": "not known",
        "measured": "measured",
        "projected": "measured before, grown on to this date",
        "estimated": "estimated from its neighbours",
        "joined": "joined to this tree with {percent}",
        "why": "Why",
        "ready_on": "Ready on",
        "ready_between": "{date} ({low} to {high})",
        "ready_from": "{date} (not before {low}; the latest day isn't known)",
        "task_stop": "Task {task}, stop {stop} of {stops}",
        "task": "Task",
        "before": "Tree before",
        "after": "Next tree",
        "marking": "Marking guide",
        "panel": "Panel {panel}",
        "panel_of": "{number} of {count}",
        "down": "downward",
        "up": "upward",
        "faces": "Faces",
        "high_end": "Cut, high left",
        "low_end": "Cut, low right",
        "slope_of_cut": "Slope of cut",
        "cut_length": "Cut length",
        "panel_width": "Panel width",
        "guide_lines": "Guide lines",
        "lines_apart": "Lines apart",
        "lowest": "Panel ends at",
        "gutter_at": "Gutter at",
        "cup_at": "Cup at",
        "heights": "Heights are above the ground.",
        "centimetres": "{value} cm",
        "degrees": "{value}°",
        "caution_knife": "Cut away from yourself and from others, {depth} mm deep at most: "
        "never into the wood.",
        "caution_high": "High panel: use the long-handled knife from the ground, never a ladder; "
        "keep others clear below.",
        "no_guide": "Not to be tapped: no marking.",
        # A girth point.
        "point": "Girth point {point}",
        "point_lost": "No tree is likely for this point: take it again.",
        "point_joined": "{percent} likely this tree: {tree}",
        "point_second": "{percent} likely that one: {tree}",
        "point_offset": "The phone stood off by about {metres} m toward {direction} (± {error} m)",
        # A task.
        "task_trees": "{count} trees",
        "task_minutes": "{minutes} minutes: tapping {tapping}, walking {walking}, "
        "collecting {collecting}",
        "task_walk": "Walk {metres} m",
        "task_round": "Day {day} of the round, beat {beat}",
        "high_knife": "Needs the long-handled knife",
        "walk_it": "Go to its first tree here",
        "begins_elsewhere": "It begins in another block and comes here at stop {stop}.",
        # Sun.
        "rose_title": "Sun on the bark, tapping months",
        "rose_beam": "Beam, all day",
        "rose_flow": "Light while latex flows",
        "rose_scorch": "Light in the hot hours",
        "rose_unit": "MJ per m² of bark, by the way it faces",
        "rose_rings": "Outer ring {most}, middle ring half of it, inner ring none.",
        "rose_advice": "Panels face {faces}.",
        "rose_apart": "Saves {share} of the light of the hot hours (± {doubt}).",
        "rose_same": "The difference is within its doubt: either way serves.",
        # Measuring.
        "measure_hint": "Tap the map along the way. Tap the first point again to close an area.",
        "measure_length": "{metres} m",
        "measure_area": "{hectares} ha, {metres} m round",
        "measure_undo": "Take back",
        "measure_clear": "Begin again",
        "measure_middle": "Set a point at the cross",
        # The whole cooperative.
        "open": "Open",
        "wait": "Wait",
        "measure more": "Measure more",
        "in tapping": "In tapping",
        "share_ready": "{share} of {standing} standing trees are ready ({low} to {high})",
        "share_tapped": "{share} of {standing} standing trees are fit to tap ({low} to {high})",
        "measured_trees": "{count} measured",
        "more_to_measure": "Trees still to measure: {count}",
        "likely_from": "Likely from {date}",
        "sure_from": "Sure from {date} without taping",
        "wait_until": "Look again on {date}",
        "decision": "Decision",
        "open_block_map": "Open the block's own map",
        "blocks": "Blocks",
        "whole_cooperative": "Map of the whole cooperative",
        "fit_ready": "ready: {share} ({span})",
        "fit_tapped": "fit to tap: {share} ({span})",
        "list_hint": "Per cent of standing trees that are fit to tap; below it the interval in "
        "which it lies.",
        "all": "All",
        "list": "List",
        "come_nearer": "Come nearer to see trees",
        "gauge": "Ring: share of standing trees fit to tap, from the top clockwise, in percent; "
        "thin line: how far it may be off",
        "unreviewed": "Machine translation, unreviewed.",
        "north_word": "north",
        "north-east_word": "north-east",
        "east_word": "east",
        "south-east_word": "south-east",
        "south_word": "south",
        "south-west_word": "south-west",
        "west_word": "west",
        "north-west_word": "north-west",
        "north_letter": "N",
        "east_letter": "E",
        "south_letter": "S",
        "west_letter": "W",
    }
)


@dataclass(frozen=True, kw_only=True)
class Wording:
    """What a map says in one language.

    Parameters
    ----------
    language
        As in RFC 5646.
    words
        By the names in `ENGLISH`.
    reviewed
        Whether a person has read the translation through.
    """

    language: str
    words: Mapping[str, str]
    reviewed: bool


def wording_in(language: str, *, own: Mapping[str, str] | None = None) -> Wording:
    """Give what a map says in one language.

    Parameters
    ----------
    language
        One of :data:`reports.words.LANGUAGES`.
    own
        Words to say in place of the catalogue's, by the names in `ENGLISH`.

    Raises
    ------
    SettingError
        There is no catalogue of that language.

    Examples
    --------
    >>> wording_in("fr").words["row"]
    'Ligne {row}'
    """
    catalogue, reviewer = read_catalogue(language, domain=DOMAIN, folder=LOCALE_FOLDER)
    words = {name: catalogue.gettext(message) for name, message in ENGLISH.items()}
    return Wording(
        language=language,
        words={**words, **(own or {})},
        reviewed=language == "en" or bool(reviewer),
    )
