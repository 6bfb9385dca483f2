"""What people decided about a block, tree or point that the layers no longer hold."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from estate.plan_settings import PlanSettings
from layers.contract import Layers
from layers.errors import Fault

WORDS = {"open": "to open it", "closed": "to keep it closed"}


def with_what_holds(
    layers: Layers, settings: PlanSettings
) -> tuple[PlanSettings, tuple[Fault, ...]]:
    """Leave out decisions on blocks and points that aren't there now, and say which.

    They stay in the project and hold again as soon as the block, the point and the tree are back.

    Returns
    -------
    settings : PlanSettings
        With the decisions that hold.
    faults : tuple of Fault
        One for each that is kept aside.
    """
    blocks = set(layers.blocks["block_id"].astype(str))
    gone = {block: word for block, word in settings.decided.items() if block not in blocks}
    faults = [
        Fault(
            severity="noted",
            file="",
            layer="decisions",
            row=block,
            found=f"a decision on the block {block} ({WORDS.get(word, word)}), which isn't in the "
            "layers now; kept aside",
            expected="one of the blocks in the layers",
            remedy="Nothing to do if the block is gone: the decision holds again if it comes back. "
            f"Else mend the block's key; 'estate undecide PROJECT {block}' takes the decision "
            "back.",
        )
        for block, word in gone.items()
    ]
    decided = {block: word for block, word in settings.decided.items() if block in blocks}
    confirmed, more = _confirmed(layers, settings.confirmed)
    return replace(settings, decided=decided, confirmed=confirmed), (*faults, *more)


def _confirmed(
    layers: Layers, confirmed: pd.DataFrame | None
) -> tuple[pd.DataFrame | None, list[Fault]]:
    if confirmed is None or confirmed.empty:
        return confirmed, []
    trees = layers.trees
    alive = set(trees.loc[~trees["status"].isin(("vacant", "dead")), "tree_id"].astype(str))
    tree, point = confirmed["tree_id"], confirmed["point_id"]
    no_tree = (tree.notna() & ~tree.isin(alive)).to_numpy(bool)
    no_point = (~point.isin(layers.girth["point_id"].astype(str))).to_numpy(bool)
    faults = [
        Fault(
            severity="noted",
            file="",
            layer="confirmed_points",
            row=str(row.point_id),
            found=f"the point {row.point_id} confirmed on "
            + ("no tree" if pd.isna(row.tree_id) else str(row.tree_id))
            + (", a point that isn't in the layers now" if lost else
               ", a tree that isn't there or doesn't live now")
            + "; kept aside",
            expected="a girth point and a living tree of the layers",
            remedy="Nothing to do if it is gone; else confirm the point anew.",
        )
        for row, lost in zip(
            confirmed[no_tree | no_point].itertuples(), no_point[no_tree | no_point], strict=True
        )
    ]  # fmt: skip
    return confirmed[~(no_tree | no_point)].reset_index(drop=True), faults
