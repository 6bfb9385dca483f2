"""Rules of a life plan: renewal, rest, panel change and the tree's last year, as one setting."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Self

from estate.figures import load_figures
from layers.errors import SettingError


@dataclass(frozen=True, kw_only=True)
class LifeRules:
    """What a life plan keeps to; made from ``estate/data/bark.toml`` by :meth:`load`.

    Parameters
    ----------
    renewal_years
        Years from tapping a strip of bark to tapping the bark that grew there.
    run_years
        Most years in a row on one side of the tree; 1 is yearly panel change.
    shortest_run_months
        Fewest months on a panel in a year, unless they use it up.
    last_age_years
        The tree's age at the plan's end, years.
    generations
        How often one place is tapped: 1 virgin only, 2 with the first renewal, 3 with the second.
    worth_virgin, worth_renewed
        What a month on such bark is worth, % of each other.

    Raises
    ------
    SettingError
        A rule is out of its range.
    """

    renewal_years: float
    run_years: int
    shortest_run_months: int
    last_age_years: float
    generations: int
    worth_virgin: int
    worth_renewed: int

    def __post_init__(self) -> None:
        for name, (figure, low, high) in _RANGES.items():
            value = getattr(self, name)
            if not low <= value <= high or (name in _WHOLE and value != int(value)):
                whole = "a whole number of " if name in _WHOLE else ""
                raise SettingError.at(
                    file="bark.toml",
                    layer="bark",
                    row=figure,
                    found=f"{value:g}",
                    expected=f"{whole}{low:g} to {high:g}",
                    remedy="Mend the figure in your figures file.",
                )

    @classmethod
    def load(cls, *, own: Path | None = None) -> Self:
        """Give common practice, with the user's own figures in place of ours where given.

        Examples
        --------
        >>> LifeRules.load().renewal_years
        8.0
        """
        figures = load_figures("bark", own=own)
        values = {name: figures[figure].value for name, (figure, _, _) in _RANGES.items()}
        whole = {name: int(values[name]) for name in _WHOLE if values[name] == int(values[name])}
        return cls(**(values | whole))  # type: ignore[arg-type]


_RANGES = {
    "renewal_years": ("renewal", 1.0, 20.0),
    "run_years": ("panel_run", 1.0, 20.0),
    "shortest_run_months": ("shortest_run", 1.0, 12.0),
    "last_age_years": ("last_age", 10.0, 60.0),
    "generations": ("generations", 1.0, 4.0),
    "worth_virgin": ("worth_virgin", 1.0, 1000.0),
    "worth_renewed": ("worth_renewed", 1.0, 1000.0),
}
_WHOLE = ("run_years", "shortest_run_months", "generations", "worth_virgin", "worth_renewed")
