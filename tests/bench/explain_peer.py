"""The question of :mod:`fitgraph.explain` put to CPMpy's general tools for explanations.

CPMpy (Guns and others, the ``cpmpy`` package) finds minimal unsatisfiable sets of any model with
``mus``, and all of them with all minimal correction sets with ``marco`` (Liffiton et al. 2016).
The model is the plain one: an option a role, a class a joint and role, a soft constraint for each
pick, each absence, each "no work" and each joint.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import cpmpy as cp
import numpy as np

from fitgraph.graph.options import options_for
from fitgraph.model import Catalogue, Option, Verdict
from fitgraph.solve.space import compile_options
from tests.sum_tables import table_of

#: An element: its kind and the role or the joint.
Key = tuple[str, str]


class PeerModel:
    """Soft and hard constraints of the question whether parts fit together.

    Parameters
    ----------
    catalogue : Catalogue
        Where the parts come from.
    chosen : mapping of str to str
        The stock number named for each role.
    least : Verdict
        A joint fails below this.
    sums : bool
        Whether sums along a nest or a stack count: as tables over all their roles, which only
        suits small catalogues. Without them a conflict is still one.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        chosen: Mapping[str, str],
        least: Verdict,
        *,
        sums: bool = True,
    ) -> None:
        vocabulary = catalogue.vocabulary
        self.options = {r: options_for(catalogue.of(r), r, vocabulary) for r in vocabulary.roles}
        self.hard: list[object] = []
        self.soft: list[object] = []
        self.keys: dict[str, Key] = {}
        self.place = {r: cp.intvar(0, len(o) - 1, name=r) for r, o in self.options.items()}
        for role, options in self.options.items():
            named, fill = chosen.get(role), vocabulary.roles[role].fill
            fine = [n for n, o in enumerate(options) if allowed(o, named, free=fill.free)]
            self._within(role, fine)
            if named is not None:
                self._keep(role, "part", lambda o, n=named: o.part is not None and o.part.sku == n)
            elif not fill.free:
                self._keep(role, "nothing added", lambda o: o.part is None)
            if any(options[n].services for n in fine):
                self._keep(role, "no work", lambda o: not o.services)
        space = compile_options(catalogue, self.options, tidy=False)
        for table in (*space.joint_tables, *map(table_of, space.sums if sums else ())):
            joint = table.joint
            fails = table.verdicts < least
            if not fails.any():
                continue
            classes = []
            for role, class_of, size in zip(
                table.roles, table.class_of, table.verdicts.shape, strict=True
            ):
                local = cp.intvar(0, size - 1, name=f"{joint.name}/{role}")
                pairs = [[n, int(c)] for n, c in enumerate(class_of)]
                self.hard.append(cp.Table([self.place[role], local], pairs))
                classes.append(local)
            holds = self._soft("joint", joint.name)
            for row in np.argwhere(fails):
                differs = [c != int(v) for c, v in zip(classes, row, strict=True)]
                self.hard.append(cp.any([~holds, *differs]))

    def _soft(self, kind: str, name: str) -> cp.expressions.variables.NegBoolView:
        holds = cp.boolvar(name=f"{kind} {name}")
        self.keys[str(holds)] = (kind, name)
        self.soft.append(holds)
        return holds

    def _within(self, role: str, places: list[int]) -> None:
        self.hard.append(cp.Table([self.place[role]], [[n] for n in places]))

    def _keep(self, role: str, kind: str, wanted) -> None:
        holds = self._soft(kind, role)
        for n, option in enumerate(self.options[role]):
            if not wanted(option):
                self.hard.append(cp.any([~holds, self.place[role] != n]))

    def elements(self, found: object) -> frozenset[Key]:
        """Return a set of soft constraints as keys."""
        return frozenset(self.keys[str(s)] for s in itertools.chain(found))


def allowed(option: Option, named: str | None, *, free: bool) -> bool:
    """Return whether an option may be used at all: what is named, what is sold, nothing."""
    part = option.part
    if part is None or part.price is not None:
        return True
    return part.sku == named or (named is None and free and not option.services)
