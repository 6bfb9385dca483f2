"""What a harvest system asks of a tree: its relative intensity and its tappings a year."""

from __future__ import annotations

from estate.figures import load_figures
from estate.panels.notation.system import CutSystem, HarvestSystem, tapped_share


def relative_intensity(
    system: HarvestSystem, *, girth_cm: float | None = None, with_periods: bool = False
) -> float:
    """Intensity of a system against a half spiral tapped every second day, %.

    Cuts that take turns, such as ``2xS/2 d2 (t,t)``, count as one; cuts tapped on one day add up.

    Parameters
    ----------
    system
        The system.
    girth_cm
        Girth, cm; needed for mini cuts only.
    with_periods
        Whether the week's rest and the months without tapping lower it.

    References
    ----------
    Cut's share of the girth over the days between tappings times 400 %: from memory.

    Examples
    --------
    >>> from estate.panels.notation.parse import parse_notation
    >>> round(relative_intensity(parse_notation("S/2 d3")))
    67
    """
    full = load_figures("bark")["full_intensity"].value
    return full * sum(
        (1 if cut.change else cut.cut.number)
        * cut.cut.girth_share(girth_cm=girth_cm)
        * float(tapped_share(cut, with_periods=with_periods))
        for cut in system.cuts
    )


def tappings_per_year(cut: CutSystem) -> float:
    """Tappings of a cut in a year without days lost: d3 6d/7 gives 104.

    Examples
    --------
    >>> from estate.panels.notation.parse import parse_notation
    >>> round(tappings_per_year(parse_notation("S/2 d3 6d/7").cuts[0]))
    104
    """
    days = load_figures("bark")["days_a_year"].value
    return days * float(tapped_share(cut, with_periods=True))
