"""What there is to know of a part: what it is, its sizes, and what goes with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from fitgraph.explain.words import size_text
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Feature, Joint, Part, Presence, Verdict, Vocabulary
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, MASS_TOLD, TOLD
from fitgraph.wording import plural

if TYPE_CHECKING:
    from fitgraph.explain.standing import PartStanding

#: What is said of a feature that is not there for certain.
_PRESENCE = {Presence.ABSENT: "none", Presence.UNKNOWN: "nobody has looked whether it is there"}


def facts_table(part: Part, vocabulary: Vocabulary) -> Table:
    """Return what a part costs and weighs, how many there are, and who made it of what."""
    known = MATERIALS.get(part.material or "")
    rows = [
        ("Price", "not sold" if part.price is None else vocabulary.money(part.price)),
        ("In stock", plural(part.stock, "piece")),
        ("Mass", MASS_TOLD.show(part.mass_g)),
        ("Maker", part.maker or "not told"),
    ]
    if part.material:
        rows.append(("Material", part.material if known is None else known.title))
    if part.note:
        rows.append(("Note", part.note))
    return Table("facts", (Column("what"), Column("told")), tuple(rows), headed=False)


def sizes_table(part: Part, vocabulary: Vocabulary) -> Table:
    """Return the figures of each feature of a part, and on what they rest."""
    kinds = vocabulary.roles[part.role].features
    return Table.of(
        "sizes",
        list(part.features.items()),
        (Column("feature"), lambda item: kinds[item[0]].title),
        (Column("figures"), lambda item: _figures(item[1])),
        whole=True,
    )


def _words(name: str) -> str:
    return name.replace("_", " ")


def _figures(feature: Feature) -> str:
    told = [_PRESENCE[feature.presence]] if feature.presence in _PRESENCE else []
    for name, size in feature.lengths.items():
        known = f"{size_text(size)} ({size.basis.word})" if size.known else "not known"
        told.append(f"{_words(name)} {known}")
    told += [f"{_words(key)} {word.value or 'not known'}" for key, word in feature.words.items()]
    return "; ".join(told) or "there"


def joints_table(
    part: Part, standing: Mapping[str, Sequence[PartStanding]], vocabulary: Vocabulary
) -> Table:
    """Return the joints that a part takes part in, and how many parts of each role go with it.

    Parameters
    ----------
    part : Part
        The part.
    standing : mapping of str to sequence of PartStanding
        How every part of every role stands to it.
    vocabulary : Vocabulary
        Names joints and roles.
    """
    mine = [j for j in vocabulary.joints if part.role in j.roles]
    others = {r for j in mine for r in j.roles if r != part.role}

    def fitting(role: str) -> list[Part]:
        return [s.part for s in standing[role] if s.verdict is Verdict.FITS]

    return Table.of(
        "joints",
        [role for role in vocabulary.roles if role in others and role in standing],
        (Column("role"), lambda r: vocabulary.roles[r].title),
        (Column("joints"), lambda r: ", ".join(_titles(mine, r))),
        (Column("fit", TOLD), lambda r: f"{len(fitting(r))} of {len(standing[r])}"),
        (Column("held", COUNT, "on the shelf"), lambda r: sum(p.stock > 0 for p in fitting(r))),
        whole=True,
    )


def _titles(joints: Sequence[Joint], role: str) -> dict[str, None]:
    return dict.fromkeys(j.title for j in joints if role in j.roles)
