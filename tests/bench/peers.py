"""The same question put to well-known solvers, each at its best.

Every peer gets only options that the request lets in and joints that rule something out, over
the roles that such a joint can tell apart. Making its model is not timed. All run on one thread
and are timed by the processor's clock, so that what else the machine does hardly counts.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import clingo
import numpy as np
import numpy.typing as npt
from constraint import (
    BacktrackingSolver,
    OptimizedBacktrackingSolver,
    Problem,
    RecursiveBacktrackingSolver,
)
from ortools.sat.python import cp_model

from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.model import Verdict
from fitgraph.solve.carried_sums import STEPS, in_steps, relation_of_sum
from fitgraph.solve.query import Query

Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Rule:
    """A joint over the classes of the options that are let in."""

    roles: tuple[str, ...]
    class_of: tuple[Ints, ...]
    allowed: Bools

    def over_options(self) -> Bools:
        """Return what is allowed, an axis of options for each role."""
        return self.allowed[np.ix_(*self.class_of)]


@dataclass(frozen=True)
class Addend:
    """What some roles add to a sum: whole steps over the classes of the options let in."""

    roles: tuple[str, ...]
    class_of: tuple[Ints, ...]
    steps: Ints


@dataclass(frozen=True)
class Task:
    """A query without limits, as options, rules, and sums that must not be below a least.

    Sums are those that are too wide to be rules, each with its least.
    """

    options: dict[str, Ints]  # places of the options that are let in
    price: dict[str, Ints]
    tenths: dict[str, Ints]
    rules: tuple[Rule, ...]
    sums: tuple[tuple[tuple[Addend, ...], int], ...] = ()


#: Cells up to which what a sum asks for is a rule like others.
_CELLS = 1 << 18


#: Solvers get lengths in nanometres: steps of the engine put together, for numbers they can take.
_COARSE = 1000


def _capped(addends: list[Addend]) -> list[Addend]:
    """Return addends with what keeps any sum, such as infinity, as small as it may be."""
    least = [int(a.steps.min()) for a in addends]
    most = [1 - sum(least) + own for own in least]
    return [
        replace(a, steps=np.minimum(a.steps, max(top, int(a.steps.min()))))
        for a, top in zip(addends, most, strict=True)
    ]


def _sums(
    query: Query, options: dict[str, Ints]
) -> tuple[list[Rule], list[tuple[tuple[Addend, ...], int]]]:
    """Return what the conditions on sums ask for, as rules where that is small."""
    space, rules, sums = query.space, [], []
    first = {r: np.unique(c, return_index=True)[1] for r, c in space.class_of.items()}
    kinds = {r: np.unique(space.class_of[r][o]) for r, o in options.items()}
    for condition in space.sums:
        table = relation_of_sum(condition, first, kinds, certain=True, most_cells=_CELLS)
        if table is None:
            addends = [
                Addend(
                    term.roles,
                    tuple(c[options[r]] for r, c in zip(term.roles, term.class_of, strict=True)),
                    np.rint(in_steps(term.worst) / _COARSE).astype(np.int64),
                )
                for term in condition.terms
            ]
            sums.append((tuple(_capped(addends)), -round(EPSILON_MM * STEPS / _COARSE)))
        elif table.scope:
            of = tuple(
                m[space.class_of[r][options[r]]]
                for r, m in zip(table.scope, table.maps, strict=True)
            )
            rules.append(Rule(table.scope, of, table.allowed))
    return rules, sums


def task_of(query: Query) -> Task:
    """Return a query as data that says nothing of the engine's own methods."""
    lets = query.mask(certain=True)
    options = {r: np.flatnonzero(m) for r, m in lets.items()}
    rules = []
    for table in query.space.joint_tables:
        allowed = table.verdicts == Verdict.FITS
        if allowed.all():
            continue
        wide = [k for k, n in enumerate(allowed.shape) if n > 1]
        narrow = tuple(k for k, n in enumerate(allowed.shape) if n == 1)
        rules.append(
            Rule(
                tuple(table.roles[k] for k in wide),
                tuple(table.class_of[k][options[table.roles[k]]] for k in wide),
                allowed.squeeze(axis=narrow),
            )
        )
    more, sums = _sums(query, options)
    return Task(
        options,
        {r: query.price[r][o].astype(np.intp) for r, o in options.items()},
        {r: query.tenths[r][o].astype(np.intp) for r, o in options.items()},
        (*rules, *more),
        tuple(sums),
    )


def _merged(task: Task) -> dict[tuple[str, ...], Bools]:
    """Return one table over options for each set of roles."""
    tables: dict[tuple[str, ...], Bools] = {}
    for rule in task.rules:
        order = sorted(range(len(rule.roles)), key=lambda k: rule.roles[k])
        roles = tuple(rule.roles[k] for k in order)
        allowed = np.transpose(rule.over_options(), order)
        tables[roles] = tables[roles] & allowed if roles in tables else allowed
    return tables


@dataclass(frozen=True)
class Listed:
    """How many builds a peer listed, and in how many seconds."""

    builds: int
    seconds: float

    @property
    def rate(self) -> float:
        """Return builds a second."""
        return self.builds / self.seconds


# ---------------------------------------------------------------- python-constraint

#: Ways to list with python-constraint: a solver, and what gives the builds.
PYTHON_CONSTRAINT: dict[str, tuple[Callable[[], object], Callable[[Problem], int]]] = {
    "optimized, getSolutions": (OptimizedBacktrackingSolver, lambda p: len(p.getSolutions())),
    "optimized, getSolutionIter": (
        OptimizedBacktrackingSolver,
        lambda p: sum(1 for _ in p.getSolutionIter()),
    ),
    "optimized without forward check, getSolutions": (
        lambda: OptimizedBacktrackingSolver(forwardcheck=False),
        lambda p: len(p.getSolutions()),
    ),
    "backtracking, getSolutions": (BacktrackingSolver, lambda p: len(p.getSolutions())),
    "recursive, getSolutions": (
        RecursiveBacktrackingSolver,
        lambda p: len(p.getSolutions()),
    ),
}


def _lookup(allowed: Bools) -> Callable[..., bool]:
    table = allowed.tolist()
    if allowed.ndim == 2:
        return lambda a, b: table[a][b]
    if allowed.ndim == 3:
        return lambda a, b, c: table[a][b][c]
    if allowed.ndim == 4:
        return lambda a, b, c, d: table[a][b][c][d]
    return lambda *at: bool(allowed[at])


def python_constraint(task: Task, way: str) -> Listed:
    """List all builds: places of options, from tables of allowed places, pairs first."""
    solver, run = PYTHON_CONSTRAINT[way]
    problem = Problem(solver())
    for role, options in task.options.items():
        problem.addVariable(role, list(range(len(options))))
    for roles, allowed in sorted(_merged(task).items(), key=lambda t: (len(t[0]), t[0])):
        problem.addConstraint(_lookup(allowed), list(roles))
        for a, b in itertools.combinations(range(len(roles)), 2) if len(roles) > 2 else ():
            pair = allowed.any(axis=tuple(k for k in range(len(roles)) if k not in (a, b)))
            if not pair.all():
                problem.addConstraint(_lookup(pair), [roles[a], roles[b]])
    began = time.process_time()
    builds = run(problem)
    return Listed(builds, time.process_time() - began)


# ---------------------------------------------------------------- clingo


def _facts(task: Task) -> Iterator[str]:
    number = {role: n for n, role in enumerate(task.options)}
    for role, options in task.options.items():
        yield f"1 {{ at({number[role]},0..{len(options) - 1}) }} 1."
    for n, rule in enumerate(task.rules):
        # Classes of options keep the ground program small.
        for k, role in enumerate(rule.roles):
            for place, klass in enumerate(rule.class_of[k].tolist()):
                yield f"c({n},{k},{klass}) :- at({number[role]},{place})."
        for row in np.argwhere(~rule.allowed).tolist():
            yield ":- " + ", ".join(f"c({n},{k},{v})" for k, v in enumerate(row)) + "."
    yield "#show at/2."


def clingo_lists(task: Task, most: int) -> Listed:
    """List so many builds as shown atoms; grounding is not timed."""
    # Its notes on atoms that no joint can make are of no interest here.
    control = clingo.Control([str(most), "--warn=none"])
    control.add("base", [], "\n".join(_facts(task)))
    control.ground([("base", [])])
    builds = 0
    began = time.process_time()
    with control.solve(yield_=True) as models:
        for model in models:
            builds += len(model.symbols(shown=True)) > 0
    return Listed(builds, time.process_time() - began)


# ---------------------------------------------------------------- CP-SAT


class _Lister(cp_model.CpSolverSolutionCallback):
    def __init__(self, variables: list[cp_model.IntVar]) -> None:
        super().__init__()
        self.variables, self.builds = variables, 0

    def on_solution_callback(self) -> None:
        for variable in self.variables:
            self.value(variable)
        self.builds += 1


def _model(task: Task) -> tuple[cp_model.CpModel, dict[str, list[cp_model.IntVar]], list]:
    """Return a model with one literal an option, and one variable a class that a joint sees."""
    model = cp_model.CpModel()
    chosen: dict[str, list[cp_model.IntVar]] = {}
    for role, options in task.options.items():
        chosen[role] = [model.new_bool_var(f"{role}{n}") for n in range(len(options))]
        model.add_exactly_one(chosen[role])
    places = []
    for role, literals in chosen.items():
        place = model.new_int_var(0, len(literals) - 1, role)
        model.add(place == sum(n * b for n, b in enumerate(literals)))
        places.append(place)
    for rule in task.rules:
        classes = []
        for role, class_of, size in zip(rule.roles, rule.class_of, rule.allowed.shape, strict=True):
            klass = model.new_int_var(0, size - 1, "")
            model.add(
                klass == sum(int(c) * b for c, b in zip(class_of, chosen[role], strict=True) if c)
            )
            classes.append(klass)
        model.add_allowed_assignments(classes, np.argwhere(rule.allowed).tolist())
    for addends, least in task.sums:
        model.add(sum(_added(model, chosen, addend) for addend in addends) >= least)
    return model, chosen, places


def _added(
    model: cp_model.CpModel, chosen: dict[str, list[cp_model.IntVar]], addend: Addend
) -> cp_model.LinearExpr:
    """Return what some roles add to a sum."""
    if len(addend.roles) == 1:
        steps = addend.steps[addend.class_of[0]].tolist()
        return sum(n * b for n, b in zip(steps, chosen[addend.roles[0]], strict=True) if n)
    columns = []
    for role, class_of, size in zip(addend.roles, addend.class_of, addend.steps.shape, strict=True):
        column = model.new_int_var(0, size - 1, "")
        pairs = zip(class_of.tolist(), chosen[role], strict=True)
        model.add(column == sum(n * b for n, b in pairs if n))
        columns.append(column)
    value = model.new_int_var(int(addend.steps.min()), int(addend.steps.max()), "")
    rows = [[*at, int(n)] for at, n in np.ndenumerate(addend.steps)]
    model.add_allowed_assignments([*columns, value], rows)
    return value


def _solver(task: Task) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    if task.sums:
        # OR-Tools 9.15 calls some of these models infeasible after probing, or after looking for
        # constraints that include others, though a build that it accepts is one of their
        # solutions (tests/test_engine_measured.py has one).
        solver.parameters.cp_model_probing_level = 0
        solver.parameters.presolve_inclusion_work_limit = 0
    return solver


def cp_sat_lists(task: Task, seconds: float) -> Listed:
    """List builds for so many seconds, each read out of the solver."""
    model, _, places = _model(task)
    solver = _solver(task)
    solver.parameters.enumerate_all_solutions = True
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = seconds
    lister = _Lister(places)
    began = time.process_time()
    solver.solve(model, lister)
    return Listed(lister.builds, time.process_time() - began)


@dataclass(frozen=True)
class Cheapest:
    """The least prices that CP-SAT found, whether it proved them, and in how many seconds."""

    prices: list[int]
    proved: bool
    seconds: float


def cp_sat_cheapest(task: Task, max_tenths: int, seconds: float, builds: int = 1) -> Cheapest:
    """Find the cheapest builds within a mass limit, one after the other.

    A build that was found is forbidden, and hinted at as the start of the next search.
    """
    model, chosen, price = _weighed(task, max_tenths)
    model.minimize(price)
    solver = _solver(task)
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = seconds
    prices: list[int] = []
    taken, proved = 0.0, True
    while len(prices) < builds and taken < seconds:
        began = time.process_time()
        status = solver.solve(model)
        taken += time.process_time() - began
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Cheapest(prices, False, taken)
        proved = proved and status == cp_model.OPTIMAL
        prices.append(round(solver.objective_value))
        model.clear_hints()
        for literals in chosen.values():
            for literal in literals:
                model.add_hint(literal, solver.boolean_value(literal))
        model.add_bool_or([~b for bs in chosen.values() for b in bs if solver.boolean_value(b)])
    return Cheapest(prices, proved, taken)


def cp_sat_band(task: Task, max_tenths: int, dearest: int, seconds: float) -> Listed | None:
    """List all builds up to a price that somebody else found; None where time runs out."""
    model, chosen, price = _weighed(task, max_tenths)
    model.add(price <= dearest)
    solver = _solver(task)
    solver.parameters.enumerate_all_solutions = True
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = seconds
    lister = _Lister([b for bs in chosen.values() for b in bs])
    began = time.process_time()
    status = solver.solve(model, lister)
    taken = time.process_time() - began
    return Listed(lister.builds, taken) if status == cp_model.OPTIMAL else None


def _weighed(
    task: Task, max_tenths: int
) -> tuple[cp_model.CpModel, dict[str, list[cp_model.IntVar]], cp_model.LinearExpr]:
    """Return a model with a mass limit, its literals, and its price."""
    model, chosen, _ = _model(task)

    def summed(of: dict[str, Ints]) -> cp_model.LinearExpr:
        return sum(int(v) * b for r, bs in chosen.items() for v, b in zip(of[r], bs, strict=True))

    model.add(summed(task.tenths) <= max_tenths)
    return model, chosen, summed(task.price)


# ---------------------------------------------------------------- DuckDB


def duckdb_joins(task: Task) -> Listed:
    """Join options with what each joint allows, and fetch ids, price and mass as arrays."""
    import duckdb  # an extra of the bench; tests import this module without it

    database = duckdb.connect(config={"threads": 1})
    number = {role: n for n, role in enumerate(task.options)}
    tables, where = [], []
    classes: dict[str, list[tuple[str, Ints]]] = {role: [] for role in task.options}
    for n, rule in enumerate(task.rules):
        rows = np.argwhere(rule.allowed)
        columns = ", ".join(f"k{k} INTEGER" for k in range(len(rule.roles)))
        database.execute(f"CREATE TABLE j{n} ({columns})")
        marks = ", ".join("?" * len(rule.roles))
        database.executemany(f"INSERT INTO j{n} VALUES ({marks})", rows.tolist())
        tables.append(f"j{n}")
        for k, role in enumerate(rule.roles):
            classes[role].append((f"c{n}", rule.class_of[k]))
            where.append(f"j{n}.k{k} = r{number[role]}.c{n}")
    for role, options in task.options.items():
        names = ["id", "price", "tenths", *(name for name, _ in classes[role])]
        values = [
            options,
            task.price[role],
            task.tenths[role],
            *(values for _, values in classes[role]),
        ]
        columns = ", ".join(f"{name} INTEGER" for name in names)
        database.execute(f"CREATE TABLE r{number[role]} ({columns})")
        marks = ", ".join("?" * len(names))
        database.executemany(
            f"INSERT INTO r{number[role]} VALUES ({marks})",
            np.column_stack(values).tolist(),
        )
        tables.append(f"r{number[role]}")
    ids = ", ".join(f"r{n}.id AS i{n}" for n in number.values())
    price = " + ".join(f"r{n}.price" for n in number.values())
    tenths = " + ".join(f"r{n}.tenths" for n in number.values())
    query = f"SELECT {ids}, {price} AS price, {tenths} AS tenths FROM {', '.join(tables)}"
    if where:
        query += f" WHERE {' AND '.join(where)}"
    began = time.process_time()
    fetched = database.execute(query).fetchnumpy()
    taken = time.process_time() - began
    database.close()
    return Listed(len(fetched["price"]), taken)
