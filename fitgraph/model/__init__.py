"""Frozen data: dimensions, parts, vocabulary, verdicts. Nothing here computes a fit."""

from fitgraph.model.catalogue import Catalogue, Enquiry
from fitgraph.model.dimension import Basis, Dimension, Word
from fitgraph.model.frozen import from_columns, proxy
from fitgraph.model.part import ABSENT, Feature, Option, Part
from fitgraph.model.supply import Offer, Supplier, Supply
from fitgraph.model.verdict import Presence, Verdict
from fitgraph.model.vocabulary import (
    Condition,
    CostModel,
    DimensionKind,
    FeatureKind,
    Fill,
    FreeSize,
    Grouping,
    HoldSource,
    Joint,
    Kind,
    Make,
    Reference,
    Role,
    Service,
    StrengthSource,
    Vocabulary,
    WeighSource,
    Workmanship,
)

__all__ = [
    "ABSENT",
    "Basis",
    "Catalogue",
    "Condition",
    "CostModel",
    "Dimension",
    "DimensionKind",
    "Enquiry",
    "Feature",
    "FeatureKind",
    "Fill",
    "FreeSize",
    "Grouping",
    "HoldSource",
    "Joint",
    "Kind",
    "Make",
    "Offer",
    "Option",
    "Part",
    "Presence",
    "Reference",
    "Role",
    "Service",
    "StrengthSource",
    "Supplier",
    "Supply",
    "Verdict",
    "Vocabulary",
    "WeighSource",
    "Word",
    "Workmanship",
    "from_columns",
    "proxy",
]
