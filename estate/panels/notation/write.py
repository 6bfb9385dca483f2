"""Write a latex harvest system in the notation's form of 2009."""

from __future__ import annotations

from estate.panels.notation.system import Cut, CutSystem, HarvestSystem, Stimulation


def write_notation(system: HarvestSystem) -> str:
    """Give the notation of a harvest system, which reads back as the same system.

    Examples
    --------
    >>> from estate.panels.notation.parse import parse_notation
    >>> write_notation(parse_notation("1/2S d/4 6d/7.10m/y. ET 5,0% Ba 10/y"))
    'S/2 d4 6d/7 10m/12 ET 5% Ba 10/y'
    """
    return " + ".join(_cut_system(cut) for cut in system.cuts)


def _cut_system(system: CutSystem) -> str:
    guard = "(RG)" if system.rain_guarded else ""
    parts = [
        _cut(system.cut),
        guard if system.guard_place == "cut" else "",
        f"d{system.every_days}" if system.every_days is not None else "",
        str(system.days) if system.days else "",
        guard if system.guard_place == "frequency" else "",
        "(" + ",".join(system.change) + ")" if system.change else "",
        str(system.period) if system.period else "",
        str(system.realised) if system.realised else "",
        ",".join(map(str, system.panels)),
        _stimulation(system.stimulation) if system.stimulation else "",
    ]
    return " ".join(part for part in parts if part)


def _cut(cut: Cut) -> str:
    many = f"{cut.number}x" if cut.number > 1 else ""
    share = f"/{cut.part}" if cut.part is not None else ""
    length = f"{cut.length_cm:g}" if cut.length_cm is not None else ""
    return f"{many}{cut.kind}{share}{length}{cut.direction}"


def _stimulation(stimulation: Stimulation) -> str:
    dose = f"{stimulation.grams:g}" if stimulation.grams is not None else ""
    band = f"({stimulation.band_cm:g})" if stimulation.band_cm is not None else ""
    done = f"{stimulation.done}/" if stimulation.done is not None else ""
    parts = [
        stimulation.agent,
        f"{stimulation.percent:g}%" if stimulation.percent is not None else "",
        f"{' '.join(stimulation.methods)}{dose}{band}",
        f"{done}{stimulation.rounds}/y" if stimulation.rounds is not None else "",
        f"({stimulation.spacing})" if stimulation.spacing else "",
    ]
    return " ".join(part for part in parts if part)
