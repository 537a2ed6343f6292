"""Do these parts fit together, and if not, why not and what would change that?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools
from fitgraph.demand.questions import request_of
from fitgraph.explain.changes import Change, Prefer, changes
from fitgraph.explain.conflicts import Conflict, minimal_conflicts, minimal_drops
from fitgraph.explain.echoes import without_echoes
from fitgraph.explain.elements import AskedElements, of_parts
from fitgraph.explain.kinds import Kinds
from fitgraph.explain.network import TooLongError, as_mask
from fitgraph.explain.reasons import Clash, clashes
from fitgraph.explain.request_conflicts import RequestExplanation, explain_request
from fitgraph.explain.transversals import TooManySetsError
from fitgraph.graph.assembly import assembly_share
from fitgraph.graph.hold import Hold, hold
from fitgraph.graph.joints import asked
from fitgraph.graph.pressed import Pressed, pressed
from fitgraph.mechanics.stackup import AssemblyShare
from fitgraph.model import Catalogue, Enquiry, Option, Verdict
from fitgraph.records import dataclass
from fitgraph.solve import NamingError, Request, TreeEngine
from fitgraph.solve.counting import count, count_each
from fitgraph.solve.nearest import nearest
from fitgraph.solve.request import named_by_role
from fitgraph.solve.space import Space

#: Assemblies drawn for their share: it is told in whole per cent.
_ASSEMBLIES = 10_000


@dataclass(frozen=True, slots=True)
class Need:
    """What every build around the named parts has to add.

    Parameters
    ----------
    role : str
        A role that has to be filled.
    parts : tuple of str
        Stock numbers that can fill it, each in at least one build.
    """

    role: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """An answer to "do these fit, and if not, why not?".

    Parameters
    ----------
    named : tuple of str
        The stock numbers asked about.
    verdict : Verdict
        Fits when some complete build around them is certain.
    conflicts : tuple of Clash
        The joints that fail, one of each minimal conflict; for an unknown
        verdict, those nobody can tell.
    joints : tuple of Clash
        Every joint between the named parts, with its verdict and margin.
    changes : tuple of Change
        Every smallest change after which they fit, the best first.
    needs : tuple of Need
        What every build around them has to add.
    remarks : tuple of Clash
        Needless parts: they do no harm and no work.
    hold : Hold or None
        How hard the bolts hold, where the named parts say so.
    pressed : tuple of Pressed
        What of the named parts is pressed together.
    minimal_conflicts : tuple of Conflict
        Every smallest set of picks, absences and joints that cannot hold
        together; for an unknown verdict, that cannot for certain.
    complete : bool
        Whether no minimal conflict and no change is missing; False only
        where there are more than can be held.
    assembly : AssemblyShare or None
        The share of assemblies of the named parts in which every bore goes
        with its spigot; None where a size is not known.
    """

    named: tuple[str, ...]
    verdict: Verdict
    conflicts: tuple[Clash, ...]
    joints: tuple[Clash, ...]
    changes: tuple[Change, ...]
    needs: tuple[Need, ...]
    remarks: tuple[Clash, ...]
    hold: Hold | None = None
    pressed: tuple[Pressed, ...] = ()
    minimal_conflicts: tuple[Conflict, ...] = ()
    complete: bool = True
    assembly: AssemblyShare | None = None


def left_open(space: Space) -> dict[str, Bools]:
    """Return what may fill each role that nobody names: no work is done, nothing is added."""
    roles = space.catalogue.vocabulary.roles
    return {
        role: np.array(
            [not o.services if roles[role].fill.free else o.empty for o in options], dtype=bool
        )
        for role, options in space.options.items()
    }


class Explainer:
    """Explanations over one catalogue.

    Parameters
    ----------
    catalogue : Catalogue
        What the questions are asked of.
    engine : TreeEngine, optional
        The catalogue compiled for lists of builds, where that is done already.
    """

    def __init__(self, catalogue: Catalogue, engine: TreeEngine | None = None) -> None:
        self.catalogue = catalogue
        self._engine = TreeEngine(catalogue) if engine is None else engine
        self.space = self._engine.untidy().space
        self._kinds: dict[tuple[bool, Verdict], Kinds] = {}
        self._place = {
            o.label: n for options in self.space.options.values() for n, o in enumerate(options)
        }

    def _named(self, skus: Sequence[str], done: Mapping[str, Sequence[str]]) -> dict[str, int]:
        chosen: dict[str, int] = {}
        for role, of_role in named_by_role(self.catalogue, tuple(skus)).items():
            if len(of_role) > 1:
                title = self.catalogue.vocabulary.roles[role].title
                raise NamingError(
                    f"{' and '.join(sorted(of_role))} are of one role ({title}), and a build has "
                    "one part for it; name one of them"
                )
            sku = next(iter(of_role))
            place = self._place.get(" + ".join((sku, *done.get(sku, ()))))
            if place is None:
                raise NamingError(f"{' and '.join(done[sku])} cannot be done to {sku}")
            chosen[role] = place
        return chosen

    def kinds(self, least: Verdict, *, tidy: bool = False) -> Kinds:
        """Return the kinds of options, compiled once.

        Parameters
        ----------
        least : Verdict
            A joint fails where its verdict is below this.
        tidy : bool
            Whether needless parts are kept out, as in lists of builds.
        """
        if (tidy, least) not in self._kinds:
            space = self._engine.space if tidy else self.space
            for verdict in (Verdict.UNKNOWN, Verdict.FITS):
                self._kinds[(tidy, verdict)] = Kinds(space, verdict)
        return self._kinds[(tidy, least)]

    def explain(self, request: Request, *, prefer: Prefer = Prefer.OWNED) -> RequestExplanation:
        """Say why a request has no build, and what would change that.

        Parameters
        ----------
        request : Request
            What is asked for.
        prefer : Prefer
            What the person would rather keep low.

        Returns
        -------
        RequestExplanation
            Every minimal conflict, and every minimal change, the best first.

        Raises
        ------
        NamingError
            If the request names something the catalogue does not have.
        TooManySetsError
            If there are more conflicts than can be held.
        """
        kinds = {v: self.kinds(v, tidy=True) for v in (Verdict.UNKNOWN, Verdict.FITS)}
        return explain_request(kinds, request, prefer)

    def lacks(self, enquiry: Enquiry) -> RequestExplanation | str:
        """Return what an enquiry lacks of what is in stock, or why that is not told."""
        try:
            return self.explain(request_of(enquiry, in_stock=True))
        except (NamingError, TooManySetsError) as error:
            return f"This could not be worked out: {error}"

    def _base(self, chosen: Mapping[str, int]) -> dict[str, Bools]:
        """Return what may fill each role as things stand."""
        base = left_open(self.space)
        for role, place in chosen.items():
            base[role] = np.arange(len(base[role])) == place
        return base

    def why(
        self,
        skus: Sequence[str],
        *,
        with_changes: bool = True,
        done: Mapping[str, Sequence[str]] | None = None,
        prefer: Prefer = Prefer.OWNED,
    ) -> Explanation:
        """Say whether parts fit together, why not, and what would change that.

        Parameters
        ----------
        skus : sequence of str
            Stock numbers, at most one a role. Roles that a build must fill
            and that are not named are free; adapters, extras and services
            that are not named are absent.
        with_changes : bool
            Whether changes are looked for.
        done : mapping of str to sequence of str, optional
            Services that the workshop has done to named parts, by stock
            number.
        prefer : Prefer
            What the person who asks would rather keep low.

        Returns
        -------
        Explanation
            The answer with its reasons.

        Raises
        ------
        NamingError
            If a stock number is unknown, two are of one role, or a service
            cannot be done to a part.
        """
        chosen = self._named(skus, done or {})
        base = self._base(chosen)
        weights = self.space.weights(base)
        question = of_parts(self.space, chosen)
        verdict = Verdict.FITS
        minimal: tuple[Conflict, ...] = ()
        complete = True
        near: dict[str, Option] = {}
        if not self._any(base, weights, certain=True):
            near = self._options(nearest(self.space, base) or {})
            verdict, minimal, complete = self._minimal(question, base, weights, near)
        minimal = tuple(without_echoes(minimal))
        told = {(c.joint.name, c.parts): c for found in minimal for c in found.clashes}
        conflicts = list(told.values())
        if verdict is not Verdict.FITS and not complete:
            conflicts = self._conflicts(near, chosen, verdict)
        found: list[Change] = []
        if verdict is not Verdict.FITS and with_changes:
            sure = self.kinds(Verdict.FITS)
            try:
                found = changes(sure, question, minimal_drops(sure, question), chosen, prefer)
            except TooManySetsError:
                complete = False
        return Explanation(
            tuple(self._sku(r, n) for r, n in chosen.items()),
            verdict,
            tuple(conflicts),
            tuple(self._between(chosen)),
            tuple(found),
            self._needs(chosen, base, weights, verdict),
            tuple(self._remarks(chosen)),
            hold(self._known(chosen), self.catalogue.vocabulary),
            pressed(self._known(chosen), self.catalogue.vocabulary),
            minimal,
            complete,
            assembly_share(self._known(chosen), self.catalogue.vocabulary, samples=_ASSEMBLIES),
        )

    def _any(
        self,
        base: Mapping[str, Bools],
        weights: Mapping[str, npt.NDArray[np.float64]],
        *,
        certain: bool,
    ) -> bool:
        """Return whether there is a build."""
        network = self.kinds(Verdict.FITS if certain else Verdict.UNKNOWN).network
        try:
            return network.build(network.domains(base)) is not None
        except TooLongError:
            return count(self.space.plan(certain=certain), weights) > 0

    def _minimal(
        self,
        question: AskedElements,
        base: Mapping[str, Bools],
        weights: Mapping[str, npt.NDArray[np.float64]],
        near: Mapping[str, Option],
    ) -> tuple[Verdict, tuple[Conflict, ...], bool]:
        """Return the verdict where none is certain, the conflicts, and whether none is missing."""
        verdict = Verdict.FAILS
        try:
            found = minimal_conflicts(self.kinds(Verdict.UNKNOWN), question, verdict, near)
            if not found:  # it is possible: what keeps it from being certain?
                verdict = Verdict.UNKNOWN
                found = minimal_conflicts(self.kinds(Verdict.FITS), question, verdict, near)
        except TooManySetsError:
            if self._any(base, weights, certain=False):
                verdict = Verdict.UNKNOWN
            return verdict, (), False
        return verdict, tuple(found), True

    def _sku(self, role: str, place: int) -> str:
        return self.space.options[role][place].label

    def _options(self, places: Mapping[str, int]) -> dict[str, Option]:
        return {r: self.space.options[r][n] for r, n in places.items()}

    def _conflicts(
        self, near: Mapping[str, Option], chosen: Mapping[str, int], verdict: Verdict
    ) -> list[Clash]:
        if not near:
            return []
        joints = asked(self.catalogue.vocabulary.joints, tidy=False)
        free = frozenset(self.space.options) - frozenset(chosen)
        return clashes(joints, near, at_most=verdict, free=free)

    def _known(self, chosen: Mapping[str, int]) -> dict[str, Option]:
        """Return the named options, and nothing for each adapter that is not named."""
        options = self._options(chosen)
        for role in self.catalogue.vocabulary.roles.values():
            if role.name not in options and not role.fill.free:
                options[role.name] = Option(role.name, None)
        return options

    def _between(self, chosen: Mapping[str, int]) -> list[Clash]:
        options = self._known(chosen)
        joints = [
            j
            for j in asked(self.catalogue.vocabulary.joints, tidy=False)
            if set(j.roles) <= set(options)
        ]
        return clashes(joints, options, at_most=Verdict.FITS)

    def _remarks(self, chosen: Mapping[str, int]) -> list[Clash]:
        options = self._known(chosen)
        joints = [
            j for j in self.catalogue.vocabulary.joints if j.tidy and set(j.roles) <= set(options)
        ]
        return clashes(joints, options, at_most=Verdict.FAILS)

    def _needs(
        self,
        chosen: Mapping[str, int],
        base: Mapping[str, Bools],
        weights: Mapping[str, npt.NDArray[np.float64]],
        verdict: Verdict,
    ) -> tuple[Need, ...]:
        """Return what the roles that have to be filled can be filled with."""
        if verdict is Verdict.FAILS:
            return ()
        fill = {r.name: r.fill for r in self.catalogue.vocabulary.roles.values()}
        roles = [r for r in self.space.options if r not in chosen and fill[r].free]
        through = self._through(roles, base, weights, verdict)
        needs = []
        for role in roles:
            opened = through[role][self.space.class_of[role]]
            options = self.space.options[role]
            can = [o for o, yes in zip(options, opened, strict=True) if yes and not o.services]
            if any(o.empty for o in can):
                continue
            needs.append(Need(role, tuple(o.label for o in can)))
        return tuple(needs)

    def _through(
        self,
        roles: Sequence[str],
        base: Mapping[str, Bools],
        weights: Mapping[str, npt.NDArray[np.float64]],
        verdict: Verdict,
    ) -> Mapping[str, Bools]:
        """Return which classes of some roles are in a build; a search is quicker than a plan."""
        network, sizes = self.kinds(verdict).network, self.space.sizes
        try:
            left = network.narrowed(network.domains(base))
            if left is None:
                return {r: np.zeros(sizes[r], dtype=bool) for r in roles}
            found = {r: network.through(left, r, ready=True) for r in roles}
            return {r: as_mask(bits, sizes[r]) for r, bits in found.items()}
        except TooLongError:
            plan = self.space.plan(certain=verdict is Verdict.FITS)
            return {r: n > 0 for r, n in count_each(plan, weights, exact=False).items()}


def explain_named(explainer: Explainer, request: Request, prefer: Prefer) -> Explanation:
    """Return whether what is owned fits together, and within what else is asked for.

    Parameters
    ----------
    explainer : Explainer
        A compiled catalogue.
    request : Request
        With a limit or filter the question is about complete builds, adapters included;
        without, about the owned parts alone.
    prefer : Prefer
        Which changes come first.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have, or two parts of one role.
    """
    limited = request != Request(have=request.have)
    found = explainer.why(request.have, with_changes=not limited, prefer=prefer)
    if not limited:
        return found
    told = explainer.explain(request, prefer=prefer)
    clashes = {(c.joint.name, c.parts): c for x in told.conflicts for c in x.clashes}
    return replace(
        found,
        verdict=told.verdict,
        conflicts=tuple(clashes.values()),
        minimal_conflicts=told.conflicts,
        changes=told.changes,
        complete=told.complete,
        needs=(),
    )
