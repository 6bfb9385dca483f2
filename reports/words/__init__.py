"""What the sheets say, in the reader's language: messages, numbers, dates and fonts.

May import third-party libraries, `layers.errors`, and from `estate` what a plan says in words.
"""

from reports.words.catalogue import LANGUAGES, Words, mark, read_catalogue, words_in, words_of
from reports.words.reasons import Teller, teller_in
from reports.words.typefaces import FONT_FAMILIES, font_folder, letters_without_font, text_width_em

__all__ = [
    "FONT_FAMILIES",
    "LANGUAGES",
    "Teller",
    "Words",
    "font_folder",
    "letters_without_font",
    "mark",
    "read_catalogue",
    "teller_in",
    "text_width_em",
    "words_in",
    "words_of",
]
