"""Read the figures of parts: many rows, few shapes.

A shop of 100,000 parts has a few hundred different features among half a million rows, so each
is worked out once: the rows of one feature of one part, taken together as text, are looked up
before they are read. Equal features are one object.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from fitgraph.catalogue.figures import UNKNOWN_TEXTS, parse_figure
from fitgraph.catalogue.findings import ERROR, WARNING, Finding, Notes, RowTally, shorten
from fitgraph.catalogue.table_reader import Row, TableRead, picking
from fitgraph.model import (
    ABSENT,
    Basis,
    Dimension,
    Feature,
    FeatureKind,
    Presence,
    Role,
    Vocabulary,
    Word,
)
from fitgraph.units import AmbiguousError, UnitError
from fitgraph.wording import NO, YES, an

COLUMNS = ("sku", "feature", "dimension", "value"), ("basis", "note")

BASIS = {
    "": Basis.NOMINAL,
    "nominal": Basis.NOMINAL,
    "maker": Basis.MAKER,
    "measured": Basis.MEASURED,
    "unknown": Basis.UNKNOWN,
}
PRESENCE = {
    **dict.fromkeys(YES, Presence.PRESENT),
    **dict.fromkeys((*NO, "none"), Presence.ABSENT),
    **dict.fromkeys(("?", "", "unknown"), Presence.UNKNOWN),
}

#: A row without its stock number: feature, dimension, value, basis, and what is not used.
_Texts = tuple[str, ...]
_PLACES = {"sku": 0, "feature": 1, "dimension": 2, "value": 3, "basis": 4}

#: Rows of one part that stand below one another: the number of the first, and all of them.
_Run = tuple[int, tuple[_Texts, ...]]


def _runs(table: TableRead) -> Iterator[tuple[str, int, tuple[_Texts, ...]]]:
    """Yield stock numbers, each with rows of it that stand below one another."""
    if table.columns[:5] == tuple(_PLACES):
        for run in table.runs:
            short = len(_PLACES) - 1 - len(run.tails[0])  # only a row by itself can be short
            tails = run.tails if short <= 0 else [run.tails[0] + ("",) * short]
            yield run.head, run.number, tuple(tails)
        return
    pick = picking(table.columns, tuple(_PLACES))
    for row in table.rows:
        sku, *texts = pick(row)
        yield sku, row.number, (tuple(texts),)


class FeatureReader:
    """Makes features of rows, each shape once.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its roles say which features and dimensions there are.
    file : str
        Named in findings.
    """

    def __init__(self, vocabulary: Vocabulary, file: str) -> None:
        self.vocabulary, self.file = vocabulary, file
        self._known: dict[tuple[str, str, tuple[_Texts, ...]], Feature] = {}
        self._equal: dict[object, Feature] = {}
        self._mappings: dict[tuple[int, ...], Mapping[str, Feature]] = {}
        self._shapes: dict[tuple[str, tuple[_Texts, ...]], Mapping[str, Feature]] = {}
        self._rows: list[Finding] = []
        self._clashes: list[Finding] = []

    def _note(
        self,
        at: list[Finding],
        code: str,
        row: Row,
        column: str,
        message: str,
        remedy: str,
        severity: str = ERROR,
    ) -> None:
        value = row[column] if column else ""
        place = self.file, row.number, column, value
        at.append(Finding(*place, message, remedy, severity, code=code, sku=row["sku"]))

    def read(
        self, table: TableRead, roles: Mapping[str, str], left_out: set[str], notes: Notes
    ) -> dict[str, Mapping[str, Feature]]:
        """Return the features of every part.

        Parameters
        ----------
        table : TableRead
            Of features.
        roles : mapping of str to str
            The role of each part, by stock number.
        left_out : set of str
            Parts whose own row was left out; their rows are set aside without a finding each.
        notes : Notes
            Is added to.
        """
        tally = table.tally
        runs: dict[str, list[_Run]] = {sku: [] for sku in roles}
        orphans = 0
        same: dict[tuple[_Texts, ...], tuple[_Texts, ...]] = {}
        for sku, number, texts in _runs(table):
            mine = runs.get(sku)
            if mine is not None:
                # What stands behind very many stock numbers is kept once.
                mine.append((number, same.setdefault(texts, texts)))
                continue
            for place, cells in enumerate(texts):
                tally.aside.append(number + place)
                if sku in left_out:
                    orphans += 1
                else:
                    self._note(
                        self._rows,
                        "no-part",
                        Row(number + place, sku, cells, _PLACES),
                        "sku",
                        "is no part of parts.csv, so the row was left out",
                        "Add the part or correct the stock number",
                    )
        if orphans:
            notes.add(
                "part-left-out",
                self.file,
                None,
                "sku",
                "",
                f"has {orphans:,} rows of parts whose own row was left out; they were left out too",
                "Mend those rows of parts.csv",
            )
        features = {}
        for sku, mine in runs.items():
            role = roles[sku]
            shape = (role, mine[0][1]) if len(mine) == 1 else None
            known = self._shapes.get(shape) if shape is not None else None
            if known is None:
                before = len(self._rows), len(self._clashes)
                known = self._part(sku, self.vocabulary.roles[role], mine, tally)
                if shape is not None and (len(self._rows), len(self._clashes)) == before:
                    self._shapes[shape] = known
            else:
                tally.loaded += len(mine[0][1])
            features[sku] = known
        for findings in (self._rows, self._clashes):
            for f in sorted(findings, key=lambda f: f.row or 0):
                notes.take(f)
        return features

    def _part(
        self, sku: str, role: Role, runs: list[_Run], tally: RowTally
    ) -> Mapping[str, Feature]:
        by_feature: dict[str, list[tuple[int, _Texts]]] = {}
        for first, rows in runs:
            for number, texts in enumerate(rows, start=first):
                by_feature.setdefault(texts[0], []).append((number, texts))
        for name in by_feature.keys() - role.features.keys():
            for number, texts in by_feature[name]:
                tally.aside.append(number)
                self._note(
                    self._rows,
                    "no-feature",
                    Row(number, sku, texts, _PLACES),
                    "feature",
                    f"is no feature of {an(role.title)}; left out",
                    f"Use one of {', '.join(role.features)}",
                )
        found: dict[str, Feature] = {}
        for kind in role.features.values():
            mine = by_feature.get(kind.name, [])
            key = (role.name, kind.name, tuple([texts for _, texts in mine]))
            feature = self._known.get(key)
            if feature is None:
                before = len(self._rows), len(self._clashes)
                told = [Row(number, sku, texts, _PLACES) for number, texts in mine]
                feature, loaded = self._feature(sku, kind, told, tally)
                tally.loaded += loaded
                if (len(self._rows), len(self._clashes)) == before:
                    self._known[key] = feature
            else:
                tally.loaded += len(mine)
            found[kind.name] = feature
        shape = (id(role), *map(id, found.values()))
        return self._mappings.setdefault(shape, MappingProxyType(found))

    def _feature(
        self, sku: str, kind: FeatureKind, rows: list[Row], tally: RowTally
    ) -> tuple[Feature, int]:
        """Return a feature, and how many of its rows were used."""
        stated: tuple[Presence, Row] | None = None
        lengths: dict[str, list[tuple[Dimension, Row]]] = {}
        words: dict[str, list[tuple[Word, Row]]] = {}
        loaded = 0
        for row in rows:
            if row["dimension"]:
                used = self._figure(row, kind, lengths, words)
            else:
                state = self._presence(row, stated)
                used = state is not None
                if state is not None:
                    stated = (state, row)
            if used:
                loaded += 1
            else:
                tally.aside.append(row.number)
        figures = {n: self._settle((sku, kind.name, n), found) for n, found in lengths.items()}
        texts = {n: self._settle_word((sku, kind.name, n), found) for n, found in words.items()}
        feature = self._made(sku, kind, stated, figures, texts)
        key = (
            feature.presence,
            tuple(feature.lengths.items()),
            tuple(feature.words.items()),
        )
        return self._equal.setdefault(key, feature), loaded

    def _presence(self, row: Row, before: tuple[Presence, Row] | None) -> Presence | None:
        state = PRESENCE.get(row["value"].lower())
        if state is None:
            self._note(
                self._rows,
                "presence",
                row,
                "value",
                "does not say whether the feature is there",
                "Write yes, no or ?; or name a dimension",
            )
        elif before is not None and before[0] != state:
            self._note(
                self._rows,
                "presence-contradicts",
                row,
                "value",
                "contradicts an earlier row; taken as unknown",
                "Look at the part",
                WARNING,
            )
            state = Presence.UNKNOWN
        return state

    def _figure(
        self,
        row: Row,
        kind: FeatureKind,
        lengths: dict[str, list[tuple[Dimension, Row]]],
        words: dict[str, list[tuple[Word, Row]]],
    ) -> bool:
        """Take one figure; say whether it can be used."""
        spec = kind.dimensions.get(row["dimension"])
        if spec is None:
            self._note(
                self._rows,
                "no-dimension",
                row,
                "dimension",
                f"is no dimension of {kind.name}; left out",
                f"Use one of {', '.join(kind.dimensions)}",
            )
            return False
        basis = BASIS.get(row["basis"].lower())
        if basis is None and row["basis"][:1].isdigit():
            self._note(
                self._rows,
                "cut-at-comma",
                row,
                "basis",
                f"looks like the decimals of {shorten(row['value'])}, so the row was left out",
                "Put a figure with a decimal comma in quotes, or write it with a point",
            )
            return False
        if basis is None:
            self._note(
                self._rows,
                "no-basis",
                row,
                "basis",
                "is not understood; taken as nominal",
                "Use measured, maker or nominal",
                WARNING,
            )
            basis = Basis.NOMINAL
        if spec.worded:
            unknown = row["value"].lower() in UNKNOWN_TEXTS
            word = Word(None if unknown else row["value"], basis)
            words.setdefault(spec.name, []).append((word, row))
            return True
        unread = f"so {kind.name}.{spec.name} counts as unknown"
        half_width = self.vocabulary.half_width
        half = half_width.get(basis, half_width[Basis.NOMINAL])
        try:
            figure = parse_figure(row["value"], basis, half, spec.plausible)
        except UnitError as error:
            code = "ambiguous" if isinstance(error, AmbiguousError) else "no-figure"
            self._note(self._rows, code, row, "value", f"{error}, {unread}", "Mend it")
            return False
        if figure.known and spec.plausible is not None:
            lo, hi = spec.plausible
            if figure.hi < lo or figure.lo > hi:
                self._note(
                    self._rows,
                    "implausible",
                    row,
                    "value",
                    f"lies outside {lo:g} to {hi:g} mm, {unread}",
                    "Check the figure and its unit",
                )
                return False
        if not figure.known:
            figure = Dimension.unknown(figure.text, spec.plausible)
        lengths.setdefault(spec.name, []).append((figure, row))
        return True

    def _made(
        self,
        sku: str,
        kind: FeatureKind,
        stated: tuple[Presence, Row] | None,
        figures: dict[str, Dimension],
        texts: dict[str, Word],
    ) -> Feature:
        has_rows = bool(figures or texts)
        usual = Presence.PRESENT if has_rows else kind.if_missing
        state = usual if stated is None else stated[0]
        if state is Presence.ABSENT:
            if not has_rows or stated is None:
                return ABSENT
            self._note(
                self._clashes,
                "absent-with-figures",
                stated[1],
                "value",
                f"says that {sku} has no {kind.name}, for which other rows give dimensions; "
                "taken as unknown",
                "Look at the part and drop one of them",
                WARNING,
            )
            state = Presence.UNKNOWN
        return Feature(
            state,
            MappingProxyType(
                {
                    spec.name: figures.get(spec.name, Dimension.unknown(within=spec.plausible))
                    for spec in kind.dimensions.values()
                    if not spec.worded
                }
            ),
            MappingProxyType(
                {
                    spec.name: texts.get(spec.name, Word(None, Basis.UNKNOWN))
                    for spec in kind.dimensions.values()
                    if spec.worded
                }
            ),
        )

    def _settle(self, spot: tuple[str, str, str], found: list[tuple[Dimension, Row]]) -> Dimension:
        """Return the figure that counts: the highest basis, or the hull of equals."""
        known = [(d, r) for d, r in found if d.known]
        if not known:
            return found[0][0]
        top = max(d.basis for d, _ in known)
        best = [d for d, _ in known if d.basis == top]
        hull = Dimension(
            min(d.lo for d in best), max(d.hi for d in best), best[0].basis, best[0].text
        )
        for dimension, row in known:
            if (
                dimension.hi < hull.lo
                or dimension.lo > hull.hi
                or (
                    dimension.basis == top
                    and any(dimension.hi < d.lo or dimension.lo > d.hi for d in best)
                )
            ):
                used = " to ".join(sorted({d.text for d in best}))
                self._note(
                    self._clashes,
                    "contradicts",
                    row,
                    "value",
                    f"({dimension.basis.word}) contradicts {used} ({hull.basis.word}) for "
                    f"{'.'.join(spot[1:])} of {spot[0]}; {used} is used",
                    "Measure it again and drop the wrong row",
                    WARNING,
                )
        return hull

    def _settle_word(self, spot: tuple[str, str, str], found: list[tuple[Word, Row]]) -> Word:
        known = [(w, r) for w, r in found if w.value is not None]
        if not known:
            return found[0][0]
        top = max(w.basis for w, _ in known)
        values = {w.value for w, _ in known if w.basis == top}
        result = next(w for w, _ in known if w.basis == top)
        if len(values) > 1:
            result = Word(None, top)
        for word, row in known:
            if word.value != result.value:
                used = (
                    "it is taken as unknown"
                    if result.value is None
                    else f"{shorten(result.value)} is used"
                )
                self._note(
                    self._clashes,
                    "contradicts",
                    row,
                    "value",
                    f"contradicts another row for {'.'.join(spot[1:])} of {spot[0]}; {used}",
                    "Look at the part and drop the wrong row",
                    WARNING,
                )
        return result
