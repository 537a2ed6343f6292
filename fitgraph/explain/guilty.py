"""Which sums along a nest or a stack make elements clash, with which joints, and how nearly."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.explain.elements import AskedElements
from fitgraph.explain.hitting import Oracle, shrunk
from fitgraph.explain.kinds import Kinds
from fitgraph.explain.network import Domains, Network, TooLongError, least_of_classes
from fitgraph.graph.sums import SumCondition
from fitgraph.model import Joint, Option

#: Micrometres in a millimetre, and what stands for "does not bind" among them.
_FINE, _FREE = 1000.0, 1e9

#: No sum counts.
_NONE: frozenset[str] = frozenset()


class GuiltySums:
    """Says of clashing elements which sum they clash on, where no joint alone does it.

    Parameters
    ----------
    kinds : Kinds
        Compiled for what is certain, or for what is possible.
    question : AskedElements
        What is asked.
    """

    def __init__(self, kinds: Kinds, question: AskedElements) -> None:
        self.kinds, self.question = kinds, question
        self.network = network = kinds.network
        self._every = (1 << len(question.elements)) - 1
        self._joints = Oracle(network, question, _NONE)
        self._counting: dict[frozenset[str], Oracle] = {}

    def of(self, member: int) -> tuple[SumCondition, ...]:
        """Return sums that rule a conflict out, and of which none can be left out.

        Parameters
        ----------
        member : int
            A smallest set of elements that clash, as bits.

        Returns
        -------
        tuple of SumCondition
            The first that does it alone; where several do it only together, as few of them as
            can be left of all; none where none can be broken.
        """
        left = self._joints.domains(self._every & ~member)
        suspects = [n for n, s in enumerate(self.network.sums) if s.breakable(left)]
        conditions = self.network.space.sums
        try:
            some = self._joints.build(self._every & ~member)
        except TooLongError:
            some = None
        for n in suspects:
            # A sum that a build without sums keeps is not the one.
            if some is not None and self.network.sums[n].holds(some):
                continue
            if self._rule_out(member, [conditions[n]]):
                return (conditions[n],)
        together = [conditions[n] for n in suspects]
        for condition in tuple(together):
            rest = [c for c in together if c is not condition]
            if self._rule_out(member, rest):
                together = rest
        return tuple(together)

    def beside(self, member: int, conditions: Sequence[SumCondition]) -> tuple[Joint, ...]:
        """Return joints that rule a conflict out with some sums, and of which none can go.

        Parameters
        ----------
        member : int
            A smallest set of elements that clash, as bits.
        conditions : sequence of SumCondition
            From :meth:`of`.

        Returns
        -------
        tuple of Joint
            None where the sums do it alone, and where finding them takes too many decisions.
        """
        joints = [t.joint for t in self.kinds.tables]
        left = self._joints.domains(self._every & ~member)
        sums = frozenset(c.name for c in conditions)
        try:
            counting = _Counting(self.kinds.network_apart, left, sums, joints)
            kept = shrunk(counting, counting.every)
        except TooLongError:
            return ()
        return tuple(j for n, j in enumerate(joints) if kept >> n & 1)

    def _rule_out(self, member: int, conditions: Sequence[SumCondition]) -> bool:
        """Return whether some sums, beside the joints, leave no build with a conflict."""
        names = frozenset(c.name for c in conditions)
        if names not in self._counting:
            self._counting[names] = Oracle(self.network, self.question, names, self._joints)
        return not self._counting[names].left(self._every & ~member)

    def nearest(
        self, member: int, condition: SumCondition, beside: Sequence[SumCondition] = ()
    ) -> dict[str, Option]:
        """Return what comes nearest to keeping a sum, breaks no joint, and keeps a conflict.

        Parameters
        ----------
        member : int
            The conflict, as bits.
        condition : SumCondition
            The sum.
        beside : sequence of SumCondition
            Other sums that are kept.
        """
        network, question, space = self.network, self.question, self.network.space
        rest = self._every & ~member
        lets = {r: question.lets(r, rest) for r in network.roles}
        gain = _gains(condition, lets, certain=network.certain)
        cost = {
            role: least_of_classes(space, role, lets[role], -gained).tolist()
            for role, gained in gain.items()
        }
        try:
            kept = frozenset(c.name for c in beside)
            found = network.cheapest(self._joints.domains(rest), cost, kept)
        except TooLongError:
            found = None
        chosen = {}
        for n, role in enumerate(network.roles):
            of_role = lets[role]
            if found is not None:
                of_role = of_role & (space.class_of[role] == found[n].bit_length() - 1)
            best = np.where(of_role, gain.get(role, 0.0), -np.inf)
            chosen[role] = space.options[role][int(np.argmax(best))]
        return chosen


class _Counting:
    """Says whether a build is left when some joints do not count.

    Parameters
    ----------
    network : Network
        With each joint by itself.
    domains : list of int
        The classes of each role that may be used.
    sums : frozenset of str
        Names of the sums that count.
    joints : sequence of Joint
        A bit each.
    """

    def __init__(
        self, network: Network, domains: Domains, sums: frozenset[str], joints: Sequence[Joint]
    ) -> None:
        self.network, self.domains, self.sums, self.joints = network, domains, sums, joints
        self.every = (1 << len(joints)) - 1

    def left(self, dropped: int) -> bool:
        """Return whether a build is left without some joints, as bits."""
        names = {j.name for n, j in enumerate(self.joints) if not dropped >> n & 1}
        return self.network.build(self.domains, self.sums | names) is not None


def _gains(
    condition: SumCondition, lets: Mapping[str, Bools], *, certain: bool
) -> dict[str, Floats]:
    """Return what each option adds to a sum, at the most that others let it [um]."""
    gain: dict[str, Floats] = {}
    for term in condition.terms:
        values = term.worst if certain else term.best
        own = values.reshape(len(values), -1).max(axis=1)
        role = term.roles[0]
        adds = np.clip(np.rint(own * _FINE), -_FREE, _FREE)[term.class_of[0]]
        gain[role] = gain.get(role, np.zeros(len(lets[role]))) + adds
    return gain
