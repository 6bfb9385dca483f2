"""What is wrong with a string of the notation, and at which character."""

from __future__ import annotations

from typing import Self

from layers.errors import Fault, SettingError


class NotationError(SettingError):
    """A string isn't of the notation; `position` counts characters from 0.

    Parameters
    ----------
    fault
        What was found, what was expected, the remedy.
    text, position
        The string and the character at which reading stopped.
    """

    def __init__(self, fault: Fault, *, text: str = "", position: int = 0) -> None:
        super().__init__(fault)
        self.text = text
        self.position = position

    @classmethod
    def in_text(cls, text: str, position: int, *, expected: str, found: str = "") -> Self:
        """Give the error at one character of a string, with a caret under it.

        What is found there is the next word where `found` doesn't say.
        """
        rest = text[position:].split()
        found = found or (f"“{rest[0]}”" if rest else "")
        found = f"{found} at character {position + 1}" if rest else "the end of the notation"
        pointed = f"Mend the notation there:\n  {text}\n  {' ' * position}^"
        fault = Fault(
            severity="stops",
            file="notation",
            layer="harvest system",
            row=f"“{text}”",
            found=found,
            expected=expected,
            remedy=pointed,
        )
        return cls(fault, text=text, position=position)
