"""Round scales for drawings on paper, and the bars that show them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

_ROUND = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5)
_BAR = (1.0, 2.0, 5.0)
SMALLEST_SCALE, LARGEST_SCALE = 1.0, 1e6


def round_scale(*, wide_m: float, high_m: float, width_mm: float, height_mm: float) -> float:
    """Give the largest round scale at which a ground of some size fits on a paper of some size.

    Parameters
    ----------
    wide_m, high_m
        The ground, metres, 0 or more.
    width_mm, height_mm
        The paper, millimetres, above 0.

    Returns
    -------
    float
        The scale's number: 1000.0 for one to a thousand.

    Examples
    --------
    >>> round_scale(wide_m=92.0, high_m=80.0, width_mm=118.0, height_mm=128.0)
    1000.0
    """
    least = max(1000 * wide_m / width_mm, 1000 * high_m / height_mm, SMALLEST_SCALE)
    if least > LARGEST_SCALE:
        raise ValueError(f"no scale shows {wide_m:g} m by {high_m:g} m on this paper")
    return next(round_scales(least * (1 - 1e-9)))


def round_scales(least: float) -> Iterator[float]:
    """Give the round scales from one on, the largest maps first, without end.

    Examples
    --------
    >>> from itertools import islice
    >>> list(islice(round_scales(900.0), 3))
    [1000.0, 1250.0, 1500.0]
    """
    power = 1.0
    while True:
        yield from (step * power for step in _ROUND if step * power >= least)
        power *= 10


@dataclass(frozen=True, kw_only=True)
class ScaleBar:
    """A bar of `length_mm` on paper that stands for `length_m` on the ground, in equal parts."""

    scale: float
    length_m: float
    length_mm: float
    parts: int


def scale_bar(scale: float, *, longest_mm: float) -> ScaleBar:
    """Give the longest bar of a round length (1, 2 or 5 times a power of ten) for a scale.

    Examples
    --------
    >>> scale_bar(1000.0, longest_mm=60.0)
    ScaleBar(scale=1000.0, length_m=50.0, length_mm=50.0, parts=5)
    """
    longest_m = longest_mm * scale / 1000
    power = 1e-3
    while power * 10 <= longest_m:
        power *= 10
    step = max(step for step in _BAR if step * power <= longest_m * (1 + 1e-9))
    length_m = step * power
    parts = 5 if step == 5 else 4 if step == 2 else 2
    return ScaleBar(scale=scale, length_m=length_m, length_mm=1000 * length_m / scale, parts=parts)
