"""The words that stand on every task sheet: headings, cautions, the foot of the page."""

from __future__ import annotations

from datetime import date

from layers.contract import Layers
from reports.words import Words


def task_words(words: Words) -> dict[str, str]:
    """Give the headings of a task sheet."""
    say = words.say
    return {
        "north": say("N"),
        "row": say("Row"),
        "from_to": say("From → to"),
        "tap": say("Tap"),
        "pass_by": say("Pass by"),
        "rows_title": say("Rows in walking order"),
        "rows_continue": say("More rows on a following page"),
        "rows_more": say("rows, continued"),
        "maps_title": say("larger map"),
        "entered_often": say("(3×): the way enters this row three times; follow the map."),
        "face_title": say("Direction of the cut"),
        "marking_title": say("How to mark"),
        "marks_title": say("Marks and sizes"),
        "dates_title": say("Days to tap"),
        "no_dates": say("No days are planned yet."),
        "make_up": say("* a day that makes up for a lost one"),
        "cautions_title": say("Take care"),
        "emergency": say("Emergency"),
        "phone": say("Phone"),
        "clinic": say("Clinic"),
        "meeting": say("Meeting place"),
        "who_knows": say("Who knows where I am"),
    }


def cautions(words: Words, *, high_knife: bool) -> list[dict[str, str]]:
    """Give the cautions of a tapping sheet: a leading word and a sentence each."""
    say = words.say
    given = [
        (
            say("Knife"),
            say("Cover the blade while walking. Keep your other hand and children away from it."),
        ),
        (say("Dark"), say("Wear a head lamp. Look at the ground before each step.")),
        (say("Slope"), say("Firm shoes. Go round wet banks and drains; do not jump.")),
        (
            say("Thunder"),
            say("Stop and leave the trees. Wait 30 minutes after the last thunder."),
        ),
        (
            say("Snakes"),
            say("Boots; never reach under leaves. If bitten: keep still, get to a clinic."),
        ),
        (
            say("Chemicals"),
            say("The product label rules. Gloves and goggles; never keep in drink bottles."),
        ),
    ]
    if high_knife:
        given.insert(
            1,
            (
                say("Long knife"),
                say("Nobody stands under the blade. Keep the pole far from power lines."),
            ),
        )
    return [{"lead": lead + ".", "text": text} for lead, text in given]


def foot(words: Words, *, name: str, on: date, layers: Layers) -> dict[str, str]:
    """Give the foot of a page: where from, of what date, whether a person read the words."""
    authority = layers.crs.to_authority()
    crs = ":".join(authority) if authority else layers.crs.name
    source = words.say(
        "{name}. Data of {day}, {crs}.",
        name=name,
        day=words.date(on),
        crs=crs,
    )
    unreviewed = "" if words.reviewed else words.say("Machine translation, unreviewed.")
    return {"source": source, "unreviewed": unreviewed, "page": words.say("Page")}
