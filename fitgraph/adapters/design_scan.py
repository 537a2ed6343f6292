"""What every part that could be made is worth: builds, enquiries, stranded stock."""

from __future__ import annotations

import pickle
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import field, replace

import numpy as np
import numpy.typing as npt

from fitgraph.adapters.candidates import Candidate, Counterparts, candidates
from fitgraph.adapters.demand import (
    FillTerms,
    MadeFacts,
    Offers,
    Scale,
    costs,
    counts,
    offers,
    scales,
    terms,
)
from fitgraph.adapters.interface import RoleInterface, interface
from fitgraph.adapters.settled import settled
from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.demand.least import least_through
from fitgraph.demand.menus import IN_STOCK, SOLD, Menus, Shelf
from fitgraph.demand.questions import LeftOut, questions_of, readable, request_of
from fitgraph.demand.served import witnesses
from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.options import options_for, plain
from fitgraph.model import Catalogue, Enquiry, Make, Option, Part
from fitgraph.records import dataclass
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.engine import TreeEngine
from fitgraph.solve.plan import naming_none
from fitgraph.solve.query import TENTHS, ask
from fitgraph.solve.request import Facts, Request

Bytes = npt.NDArray[np.uint8]

#: Requests in a piece of work.
PIECE = 2048

#: Bytes of groups, a bit each, that are counted in one go.
_AT_ONCE = 1 << 20

#: Takes how many requests are done, and of how many.
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class _Job:
    """All that a worker needs to say which requests which options serve.

    It holds what requests let in, not the tables made of it, so that it is small to send.
    """

    circuit: Circuit
    class_of: Mapping[str, Ints]
    of: Mapping[str, Ints]
    let: Mapping[str, Offers]
    weighed: bool
    role: str
    klass: Ints
    made: MadeFacts
    budget: Floats
    most_tenths: Floats
    scales: tuple[Scale, ...]


def _run(packed: bytes, start: int, stop: int) -> tuple[int, Bools, Bools]:
    """Return where a piece starts, what serves its requests, and what is still open.

    One pass finds the cheapest build, one the lightest. Where even the best exceeds its limit,
    no build keeps both; where it keeps both, one does.
    """
    if getattr(_held, "packed", None) != packed:
        _held.job, _held.packed, _held.costs = pickle.loads(packed), packed, {}
    job: _Job = _held.job
    made, of = job.made, job.made.of[start:stop]
    budget, most = job.budget[start:stop, None], job.most_tenths[start:stop, None]
    price, tenths = budget - made.price[of], most - made.tenths
    may, sure = made.lets[of].copy(), np.zeros((stop - start, len(made.tenths)), dtype=bool)
    for scale in job.scales:
        demands = _held.costs.get(scale)
        if demands is None:
            sizes = job.circuit.plan.sizes
            demands = costs(sizes, job.class_of, job.of, job.let, scale, weighed=job.weighed)
            _held.costs[scale] = demands
        least = least_through(job.circuit, demands.part(start, stop), job.role)
        least = least[:, job.klass]
        total, costing, weighing = scale.read(least)
        may &= np.isfinite(total) & (total <= scale.limit(price, tenths))
        sure |= (costing <= price) & (weighing <= tenths)
        if not (may & ~sure).any():
            break  # what is left of the weightings would decide nothing
    sure &= may
    return start, sure, may & ~sure


def _alike(requests: Sequence[Request]) -> list[Ints]:
    """Return the places of requests that limit no mass, and of those that do."""
    weighed = np.array([r.max_mass_g is not None for r in requests], dtype=bool)
    return [np.flatnonzero(of).astype(np.intp) for of in (~weighed, weighed) if of.any()]


#: The job that a worker's thread ran last, what it was unpacked from, and tables made of it.
_held = threading.local()


def _masses(made: Sequence[Option]) -> Floats:
    return np.array([np.nan if o.mass_g is None else o.mass_g for o in made], dtype=float)


def _pieces(
    jobs: Sequence[tuple[_Job, int]], executor: Executor | None
) -> Iterator[tuple[int, tuple[int, Bools, Bools]]]:
    """Yield the results of all pieces of some jobs, with each one's place."""
    packed = [pickle.dumps(job) for job, _ in jobs]
    ranges = [
        (n, a, min(a + PIECE, count))
        for n, (_, count) in enumerate(jobs)
        for a in range(0, count, PIECE)
    ]
    if executor is None:
        for n, start, stop in ranges:
            yield n, _run(packed[n], start, stop)
        return
    waiting: dict[Future[tuple[int, Bools, Bools]], int] = {
        executor.submit(_run, packed[n], start, stop): n for n, start, stop in ranges
    }
    for future in as_completed(waiting):
        yield waiting[future], future.result()


class _Role:
    """The made role: what the rest asks of it, and its options."""

    def __init__(self, catalogue: Catalogue, make: Make) -> None:
        vocabulary = catalogue.vocabulary
        self.catalogue, self.make, self.role = catalogue, make, make.role
        self.options = {r: options_for(catalogue.of(r), r, vocabulary) for r in vocabulary.roles}
        self.existing = [o for o in self.options[make.role] if not o.empty]
        self.chosen: tuple[Candidate, ...] = ()
        self.made: list[Option] = []
        self.side: RoleInterface | None = None
        found = candidates(catalogue, make, self.options)
        offered = [plain(c.part) for c in found]
        every = [*self.existing, *offered]
        whole = interface(catalogue, make.role, every, self.options)
        if whole is not None:
            old = len(self.existing)
            kept = _unbettered(found, whole.fits()[old:])
            spare = whole.spare()
            counterparts = Counterparts(catalogue, make, self.options)
            self.chosen = tuple(
                settled(counterparts, found[n], float(spare[old + n])) for n in kept
            )
            self.made = [plain(c.part) for c in self.chosen]
            # The size drawn may meet more than the snug one did, so it is asked anew.
            drawn = [*self.existing, *self.made]
            self.side = interface(catalogue, make.role, drawn, self.options)

    @staticmethod
    def _offers(side: RoleInterface, found: Mapping[str, FillTerms]) -> dict[str, Offers]:
        """Return what terms let in of the other roles."""
        space = side.space
        return {
            r: offers(found[r], space.facts[r], space.mass_g[r])
            for r in space.options
            if r != side.role
        }

    def _job(
        self,
        side: RoleInterface,
        requests: Sequence[Request],
        found: Mapping[str, FillTerms],
    ) -> _Job:
        weighed = requests[0].max_mass_g is not None
        budget = np.array([np.inf if r.budget is None else float(r.budget) for r in requests])
        most = [np.inf if r.max_mass_g is None else round(r.max_mass_g * TENTHS) for r in requests]
        facts = Facts.of(self.made)
        made = MadeFacts.of_options(found[self.role], facts, _masses(self.made), weighed=weighed)
        extra = (facts.price + facts.service_price, made.tenths)
        let = self._offers(side, found)
        return _Job(
            side.circuit,
            dict(side.space.class_of),
            {role: found[role].of.astype(np.int32) for role in let},
            let,
            weighed,
            side.role,
            side.class_of[len(self.existing) :],
            made,
            budget,
            np.array(most, dtype=float),
            tuple(scales(side.space, side.role, extra, mass=weighed)),
        )

    def serve(
        self, requests: Sequence[Request], executor: Executor | None, progress: Progress | None
    ) -> tuple[Bools, Bools]:
        """Return which requests each made part serves, and where that is still open."""
        serves, open_ = np.zeros((2, len(requests), len(self.made)), dtype=bool)
        if self.side is None or not self.made:
            return serves, open_
        found = terms(self.catalogue, requests)
        jobs: list[tuple[_Job, int]] = []
        places_of: list[Ints] = []
        for places in _alike(requests):
            some = [requests[n] for n in places]
            mine = {role: of_role.part(places) for role, of_role in found.items()}
            jobs.append((self._job(self.side, some, mine), len(some)))
            places_of.append(places)
        done = 0
        for n, (start, sure, still) in _pieces(jobs, executor):
            rows = places_of[n][start : start + len(sure)]
            serves[rows], open_[rows] = sure, still
            done += len(sure)
            if progress is not None:
                progress(done, len(requests))
        return serves, open_

    def settle(self, shelf: Shelf, serves: Bools, open_: Bools, executor: Executor | None) -> None:
        """Decide what is open: enquiries with both limits, where neither alone says no."""
        enquiry, option = np.nonzero(open_)
        if self.side is None or not len(enquiry):
            return
        menus = Menus(self.side.space)
        questions = questions_of(menus, self.catalogue.enquiries)[0]
        asked, at = questions.asked_of(shelf, questions.of[enquiry]), menus.roles.index(self.role)
        old = len(self.existing)
        alone = [menus.bought(at, np.array([old + n])) for n in range(len(self.made))]
        asked.menus[:, at] = np.array(alone, dtype=np.intp)[option]
        serves[enquiry, option] = witnesses(menus, asked, executor=executor).yes

    def builds(self) -> tuple[list[int], list[int]]:
        """Return the builds with each made part, and those that an existing part makes as well."""
        if self.side is None:
            return [], []
        side, old = self.side, len(self.existing)
        let = self._offers(side, terms(self.catalogue, [Request()]))
        weights = counts(side.circuit.plan.sizes, side.space.class_of, let)
        return side.builds(weights)[old:], side.shared(weights, np.arange(old))[old:]


def _unbettered(found: Sequence[Candidate], fits: Bytes) -> list[int]:
    """Return the candidates whose fits no other's contain; of equals the one with most slack."""
    first, kind_of = distinct_rows(fits)
    kinds = fits[first]
    many, rarest = _counted(kinds)
    byte, bit = rarest >> 3, np.right_shift(128, rarest & 7).astype(np.uint8)
    best = np.zeros(0, dtype=np.intp)
    # Whatever contains a kind's fits has more, and one that is kept contains them as well.
    for kind in np.argsort(-many, kind="stable")[: np.count_nonzero(many)].tolist():
        holders = best[(kinds[best, byte[kind]] & bit[kind]) > 0]
        if (kinds[kind] & ~kinds[holders]).any(axis=1).all():
            best = np.append(best, kind)
    kept = []
    for kind in best.tolist():
        equal = np.flatnonzero(kind_of == kind).tolist()
        kept.append(max(equal, key=lambda n: (round(found[n].slack_mm, 6), -_mass(found[n]))))
    return sorted(kept)


def _counted(kinds: Bytes) -> tuple[Ints, Ints]:
    """Return how many groups each of some lines of bits has, and the one that fewest have."""
    size = max(1, _AT_ONCE // max(kinds.shape[1], 1))
    pieces = [kinds[n : n + size] for n in range(0, len(kinds), size)]
    bits = (np.unpackbits(piece, axis=1) for piece in pieces)
    common = np.sum([b.sum(axis=0, dtype=np.intp) for b in bits], axis=0)
    none = len(kinds) + 1
    many, rarest = np.zeros((2, len(kinds)), dtype=np.intp)
    for n, piece in enumerate(pieces):
        bits_of = np.unpackbits(piece, axis=1)
        mine = slice(n * size, n * size + len(piece))
        many[mine] = bits_of.sum(axis=1, dtype=np.intp)
        if bits_of.shape[1]:
            rarest[mine] = np.where(bits_of, common, none).argmin(axis=1)
    return many, rarest


def _mass(candidate: Candidate) -> float:
    return candidate.part.mass_g or 0.0


@dataclass(frozen=True, slots=True)
class Worth:
    """What one part that could be made is worth, beside what there is already.

    Parameters
    ----------
    candidate : Candidate
        The part.
    builds : int
        Builds with it, exact.
    shared : int
        Those of them whose other parts an existing part of its role joins as well.
    gained : float
        Weight of the enquiries that it alone would serve and nothing does now.
    served : float
        Weight of all enquiries that have a build with it.
    taken : float
        Weight of the enquiries that need a part of this role, are served by an existing one,
        and could be served with this one: what it takes away from its like.
    released : tuple of str
        Stock numbers of held parts that have no build from stock now, and would have with it.
    released_value : int
        What those are worth, pieces times price, in minor currency units.
    """

    candidate: Candidate
    builds: int
    shared: int
    gained: float
    served: float
    taken: float
    released: tuple[str, ...]
    released_value: int


@dataclass(frozen=True, slots=True)
class Scan:
    """All parts of one make that could be worth making.

    Parameters
    ----------
    catalogue : Catalogue
        What they were weighed against.
    make : Make
        What is made.
    worths : tuple of Worth
        The best first: enquiries gained, then builds that no like of it makes, then slack.
    serves : ndarray of bool, shape (n_enquiries, n_worths)
        Which enquiries each of them serves.
    before : ndarray of bool, shape (n_enquiries,)
        Which enquiries are served without any of them.
    weights : ndarray of float, shape (n_enquiries,)
        How many enquiries each row stands for.
    left_out : tuple of LeftOut
        Enquiries of the catalogue that cannot be asked; no row stands for these.
    """

    catalogue: Catalogue
    make: Make
    worths: tuple[Worth, ...]
    serves: Bools
    before: Bools
    weights: Floats = field(repr=False)
    left_out: tuple[LeftOut, ...] = ()

    @property
    def total(self) -> float:
        """Return the weight of all enquiries."""
        return float(self.weights.sum())

    @property
    def covered(self) -> float:
        """Return the weight of the enquiries that are served now."""
        return float(self.weights[self.before].sum())

    def gained_by(self, worth: Worth) -> tuple[str, ...]:
        """Return the numbers of the enquiries that one of these parts alone would serve."""
        for n, other in enumerate(self.worths):
            if other is worth:
                gains = self.serves[:, n] & ~self.before
                asked = zip(self.catalogue.enquiries, gains, strict=True)
                return tuple(e.number for e, gain in asked if gain)
        return ()


def _now(
    engine: TreeEngine,
    enquiries: Sequence[Enquiry],
    role: str,
    shelf: Shelf,
    executor: Executor | None,
) -> tuple[Bools, Bools]:
    """Return which enquiries existing parts of a role serve, and which are served without any."""
    menus = Menus(engine.space)
    questions = questions_of(menus, enquiries)[0]
    asked, at = questions.asked_of(shelf), menus.roles.index(role)
    found = []
    for filled in (True, False):
        mine = asked.menus.copy()
        for number in np.unique(mine[:, at]).tolist():
            mine[asked.menus[:, at] == number, at] = menus.only(at, number, filled=filled)
        answers = witnesses(menus, replace(asked, menus=mine), executor=executor)
        found.append(answers.yes[questions.of])
    return found[0], found[1]


def stranded(catalogue: Catalogue, engine: TreeEngine | None = None) -> list[Part]:
    """Return the parts that are held and priced but have no complete build from stock.

    Parameters
    ----------
    catalogue : Catalogue
        What is held.
    engine : TreeEngine, optional
        The catalogue as compiled, if it is at hand.
    """
    engine = TreeEngine(catalogue) if engine is None else engine
    space, query = engine.space, ask(engine.space, Request(in_stock=True))
    weights, home = query.weights(query.mask(certain=True)), query.home(certain=True)
    through = space.possible(weights, home, certain=True)
    return [
        option.part
        for role, options in space.options.items()
        for option, builds in zip(options, through[role][space.class_of[role]], strict=True)
        if option.part is not None
        and not option.services
        and option.part.stock > 0
        and option.part.price is not None
        and not builds
    ]


@naming_none()
def scan(
    catalogue: Catalogue,
    make: Make,
    *,
    in_stock: bool = False,
    executor: Executor | None = None,
    progress: Progress | None = None,
    engine: TreeEngine | None = None,
) -> Scan:
    """Return what every part of a make that could be worth making is worth.

    Parameters
    ----------
    catalogue : Catalogue
        The parts there are and the enquiries.
    make : Make
        What could be made; one of the vocabulary's.
    in_stock : bool
        Whether enquiries are served from stock only; otherwise from the catalogue.
    executor : concurrent.futures.Executor, optional
        Where pieces of the enquiries are looked at: a process pool, or
        ``client.get_executor()`` of a ``dask.distributed`` client.
    progress : callable, optional
        Told how many looks at a request are done, and of how many.
    engine : TreeEngine, optional
        The catalogue as compiled, if it is at hand.

    Notes
    -----
    Each part is weighed on its own, certain fits only, sold at the make's price. The mass is
    that of the size chosen in its cell.
    """
    engine = TreeEngine(catalogue) if engine is None else engine
    kept, _, _, left = readable(catalogue, catalogue.enquiries)
    catalogue = replace(catalogue, enquiries=tuple(kept)) if left else catalogue
    role = _Role(catalogue, make)
    lost = stranded(catalogue, engine)
    requests = [
        *(request_of(e, in_stock=in_stock) for e in catalogue.enquiries),
        *(Request(want=(p.sku,), in_stock=True) for p in lost),
    ]
    options, still_open = role.serve(requests, executor, progress)
    asked, shelf = len(catalogue.enquiries), IN_STOCK if in_stock else SOLD
    by_old, nothing = _now(engine, catalogue.enquiries, make.role, shelf, executor)
    role.settle(shelf, options, still_open[:asked], executor)
    weights = np.array([e.weight for e in catalogue.enquiries], dtype=float)
    before = nothing | by_old
    serves, frees = options[:asked], options[asked:]
    builds, shared = role.builds()
    worths = []
    for n, candidate in enumerate(role.chosen):
        freed = [part for part, free in zip(lost, frees[:, n], strict=True) if free]
        worths.append(
            Worth(
                candidate,
                builds[n],
                shared[n],
                float(weights[serves[:, n] & ~before].sum()),
                float(weights[serves[:, n]].sum()),
                float(weights[serves[:, n] & by_old & ~nothing].sum()),
                tuple(p.sku for p in freed),
                sum(p.stock * (p.price or 0) for p in freed),
            )
        )
    order = sorted(
        range(len(worths)),
        key=lambda n: (
            -worths[n].gained,
            worths[n].shared - worths[n].builds,
            -round(worths[n].candidate.slack_mm, 6),
            worths[n].candidate.part.sku,
        ),
    )
    return Scan(
        catalogue,
        make,
        tuple(worths[n] for n in order),
        serves[:, order],
        before,
        weights,
        tuple(left),
    )
