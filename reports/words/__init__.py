"""What the sheets say, in the reader's language: messages, numbers, dates and fonts.

May import third-party libraries and `layers.errors` only.
"""

from reports.words.catalogue import LANGUAGES, Words, mark, read_catalogue, words_in
from reports.words.typefaces import FONT_FAMILIES, font_folder, letters_without_font, text_width_em

__all__ = [
    "FONT_FAMILIES",
    "LANGUAGES",
    "Words",
    "font_folder",
    "letters_without_font",
    "mark",
    "read_catalogue",
    "text_width_em",
    "words_in",
]
