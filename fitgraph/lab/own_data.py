"""Their own list becomes a catalogue: what its columns are, beside what is understood of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitgraph.intake.build import ASIDE, Report
from fitgraph.intake.guess import Choice
from fitgraph.intake.job import (
    Job,
    chosen,
    first_rows,
    kinds_asked,
    prepared,
    serving,
    with_kind,
)
from fitgraph.intake.mapping import BY_TITLE, FIELDS, MAPPING, MappingError
from fitgraph.intake.mapping import Column as Meant
from fitgraph.intake.row_kinds import UnknownKind
from fitgraph.intake.sources import Sheet, SourceError, read_held
from fitgraph.lab import tables
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.chosen import choose
from fitgraph.lab.leads import page_link
from fitgraph.lab.look import (
    button,
    dropdown,
    fold,
    heading,
    html,
    note,
    row,
    sides,
    style,
    text_field,
)
from fitgraph.lab.saves import download_link
from fitgraph.report.as_html import html as report_html
from fitgraph.report.as_html import table_html
from fitgraph.shop import imports
from fitgraph.wording import plural

#: Rows of each table, and tables, that are shown beside what is understood of them.
_ROWS, _TABLES = 8, 3

#: Columns whose meaning can be changed on the page; the file of the mapping takes all of them.
_COLUMNS = 40

#: Bytes that a browser hands over in one piece to a server as it comes.
_MOST_BYTES = 6_000_000

#: Where a catalogue goes if nobody says.
_INTO = "~/my-shop"

_READING = tables.status("Reading …")


def _beside(field: widgets.Widget, flex: str) -> None:
    """Lay a field out so that there is room beside it, and that it is never too wide."""
    field.layout.flex, field.layout.min_width, field.layout.max_width = flex, "0", "100%"


class OwnData(Answering):
    """A list of somebody's own, read, asked about where it is unsure, and imported."""

    invites = "read a list of your own"
    public = ("choices", "job")

    def __init__(self) -> None:
        super().__init__()
        self.job: Job | None = None
        self.choices: list[Choice] = []
        #: What was said on the page: of columns, and of words for kinds of parts.
        self._columns_said: dict[tuple[str, str], Meant] = {}
        self._kinds_said: dict[str, str] = {}
        #: Columns that were asked about, and whether importing was pressed while it was read again.
        self._unsure: set[tuple[str, str]] = set()
        self._pressed = False
        self.source = text_field(
            "List",
            "path of a spreadsheet, or sqlite:///stock.db#parts",
            continuous_update=False,
        )
        _beside(self.source, "1 1 24em")
        self.upload = widgets.FileUpload(
            multiple=False,
            description="Choose a file",
            tooltip="Hand over a spreadsheet of up to 6 MB from this computer",
            layout=widgets.Layout(width="auto"),
        )
        self.into = text_field(
            "Catalogue",
            "folder of the catalogue to make, or to add to",
            value=_INTO,
            continuous_update=False,
        )
        _beside(self.into, "1 1 24em")
        self.read = button("Read it", self._typed, tooltip="Read the list; nothing is written yet")
        self.take = button(
            "Import it",
            self._import,
            tooltip="Write the mapping and the catalogue",
            disabled=True,
        )
        for main in (self.read, self.take):
            main.add_class("fg-main")
        self.message, self.asked, self.standing, self.seen, self.done = (html() for _ in range(5))
        self.questions, self.kinds = widgets.VBox(), widgets.VBox()
        self.certain = widgets.VBox()
        self.columns = fold("Every column", [self.certain])
        self.answer = widgets.VBox(
            [
                heading("What is not certain"),
                self.asked,
                self.questions,
                self.kinds,
                heading("The first rows of your list, and what they are understood as"),
                sides([self.standing], [self.seen], halves=True),
                self.columns,
                heading("Make the catalogue"),
                row([self.into, self.take]),
            ]
        )
        self.answer.layout.display = "none"
        self.upload.observe(self._handed, names="value")
        self.into.observe(lambda _: self._read_again(), names="value")
        self.children = (
            style(self),
            row([self.source, self.read, self.upload]),
            note(
                "CSV, XLSX, XLS, ODS or Parquet, or a database, which is only read. "
                "Nothing is ever written to your list."
            ),
            self.message,
            self.answer,
            self.done,
        )

    # ---------------------------------------------------------------- reading

    def _handed(self, change: dict[str, object]) -> None:
        files = self.upload.value
        if not files:
            return
        name, data = str(files[0]["name"]), bytes(files[0]["content"])
        self.upload.value = ()
        if len(data) > _MOST_BYTES:
            told = f"{name} has more than {_MOST_BYTES:,} bytes; type its path instead."
            self.message.value = tables.wrap(tables.alert(told))
            return
        self.source.value = ""
        self._forget()
        self._prepare(lambda: read_held(name, data))

    def _typed(self) -> None:
        typed = self.source.value.strip()
        if not typed:
            told = "Type the path of your list, or choose a file."
            self.message.value = tables.wrap(tables.alert(told))
            return
        self._forget()
        path = typed if "://" in typed else str(Path(typed).expanduser())
        self._prepare(lambda: [path])

    def _forget(self) -> None:
        self._columns_said.clear()
        self._kinds_said.clear()

    def _read_again(self) -> None:
        """Read with the words and the mapping of the folder that is now named."""
        if self.job is not None:
            sheets = list(self.job.sheets)
            self._prepare(lambda: sheets, again=True)

    def folder(self) -> Path:
        """Return the folder of the catalogue."""
        return Path(self.into.value.strip() or _INTO).expanduser().absolute()

    def _prepare(
        self, sources: Callable[[], Sequence[str | Sheet]], *, again: bool = False
    ) -> None:
        self.drop(self.done)
        # Whoever presses to import right after naming the folder presses a button that is open.
        self.job, self.take.disabled, self._pressed = None, not again, False
        self.done.value, self.message.value = "", tables.wrap(_READING)

        folder = self.folder()

        def read() -> Job | str:
            words, mapping = serving(folder)
            try:
                return prepared(sources(), words, mapping)
            except (SourceError, MappingError) as error:
                return str(error)

        self.work_out(lambda: [Task(read, self._prepared)], self.message)

    def _prepared(self, job: Job | str) -> None:
        """Ask about what was read, or tell why it could not be."""
        if isinstance(job, str):
            self.message.value = tables.wrap(tables.alert(job))
            self.answer.layout.display = "none"
            return
        # What the mapping says already is not asked again.
        self._kinds_said = {
            w: r for w, r in self._kinds_said.items() if job.known.roles.get(w) != r
        }
        self.job, said = job, self._columns_said
        self.choices = [
            replace(c, taken=said.get((c.source, c.column), c.taken)) for c in job.choices
        ]
        rows = sum(len(t.rows) + len(t.sums) for t in job.tables)
        named = ", ".join(dict.fromkeys(t.source for t in job.tables))
        told = f"{named}: {plural(rows, 'row')}, {plural(len(self.choices), 'column')}"
        self.message.value = tables.wrap(f'<p role="status"><strong>{escape(told)}</strong></p>')
        before, self._unsure = (
            self._unsure,
            {(c.source, c.column) for c in self.choices if not c.sure},
        )
        unsure = [n for n, c in enumerate(self.choices) if not c.sure]
        sure = [n for n, c in enumerate(self.choices) if c.sure]
        self.questions.children = [self._question(n) for n in unsure[:_COLUMNS]]
        self.certain.children = [self._question(n) for n in sure[:_COLUMNS]]
        self._ask_kinds()
        self.answer.layout.display = "flex"
        self.take.disabled = False
        self._understand()
        if self._pressed and self._unsure <= before:
            self._import()
        elif self._pressed:
            told = "With this folder's words more is not certain: look above, then press again."
            self.done.value = tables.wrap(tables.status(told))

    # ---------------------------------------------------------------- asking

    def _options(self, choice: Choice) -> list[tuple[str, Meant]]:
        """Return all that a column can be: the likely first, then every other."""
        assert self.job is not None
        likely = list(choice.options)
        named = {c.means for c in likely}
        paths = dict.fromkeys(
            path
            for role in self.job.vocabulary.roles.values()
            for kind in role.features.values()
            for path in (*(f"{kind.name}.{d}" for d in kind.dimensions), kind.name)
        )
        rest = [Meant(means) for means in (*FIELDS, *paths) if means not in named]
        return [
            *((f"{imports.meaning(c)}: {imports.told(c)}", c) for c in likely),
            *((f"{imports.meaning(c)}: {imports.told(c)}", c) for c in rest),
        ]

    def _question(self, place: int) -> widgets.Box:
        choice = self.choices[place]
        field = dropdown(
            choice.column, self._options(choice), value=choice.taken, tooltip=choice.column
        )
        _beside(field, "0 1 34em")

        def decide(change: dict[str, object]) -> None:
            meant = field.value
            if self.job is None or meant is None:
                return
            if meant in choice.options:
                decided = replace(choice, taken=meant, sure=True)
            else:
                decided = chosen(self.job, choice, meant.means)
            self.choices[place] = decided
            self._columns_said[choice.source, choice.column] = decided.taken
            self._ask_kinds()
            self._understand()

        field.observe(decide, names="value")
        holds = ", ".join(choice.samples) or "nothing"
        return row([field, note(f"holds {holds}"[:90])])

    def _ask_kinds(self) -> None:
        """Ask which kinds of parts are meant by words that name none."""
        assert self.job is not None
        known = self.job.known
        roles = {w: r for w, r in known.roles.items() if w not in self._kinds_said}
        self.job = replace(self.job, known=replace(known, roles=roles))
        self.kinds.children = [self._kind(k) for k in kinds_asked(self.job, self.choices)]

    def _kind(self, kind: UnknownKind) -> widgets.Box:
        assert self.job is not None
        word = kind.word
        # What nobody changes counts as it stands, and is not asked again.
        self.job = with_kind(self.job, word, self._kinds_said.setdefault(word, BY_TITLE))
        field = dropdown(
            word[:60],
            [(told, name) for name, told in imports.kinds(self.job.vocabulary)],
            value=self._kinds_said[word],
            tooltip=word[:200],
        )
        _beside(field, "0 1 34em")

        def decide(change: dict[str, object]) -> None:
            if self.job is not None:
                self._kinds_said[word] = field.value or ""
                self.job = with_kind(self.job, word, self._kinds_said[word])
                self._understand()

        field.observe(decide, names="value")
        return row([field, note(f"which kind of part? {imports.which_rows(kind)}")])

    def _understand(self) -> None:
        """Show the first rows beside what is understood of them."""
        assert self.job is not None
        told = "Say what these are, or leave the guess:"
        if not self.questions.children and not self.kinds.children:
            told = "Every column is certain; look at the first rows below."
        self.asked.value = tables.wrap(f"<p>{escape(told)}</p>")
        with self.in_words(self.message):
            shown = first_rows(self.job, self.choices, _ROWS)[:_TABLES]
            self.standing.value = tables.wrap(
                "".join(table_html(imports.as_they_stand(t)) for t, _ in shown)
            )
            self.seen.value = tables.wrap(
                "".join(
                    table_html(imports.understood(intake, self.job.vocabulary))
                    for _, intake in shown
                )
            )

    # ---------------------------------------------------------------- importing

    def _import(self) -> None:
        if self.job is None:  # it is read once more, and taken as soon as it is
            self._pressed = True
            return
        job, choices, folder = self.job, list(self.choices), self.folder()
        self.take.disabled = True
        self.done.value = tables.wrap(tables.status("Importing …"))

        def write() -> str:
            try:
                report = imports.import_tables(job, choices, folder)
                return self._told(report, choices, self._files(folder))
            except (MappingError, OSError) as error:
                return tables.wrap(tables.alert(str(error)))

        self.work_out(lambda: [Task(write, self._imported)], self.done)

    def _imported(self, told: str) -> None:
        self.done.value = told
        self.take.disabled = False

    @staticmethod
    def _files(folder: Path) -> str:
        """Return links that save what the import wrote for people."""
        links = [
            download_link(f"Save {name}", name, kind, (folder / name).read_bytes())
            for name, kind in ((ASIDE, "text/csv"), (MAPPING, "application/toml"))
            if (folder / name).exists()
        ]
        return f"<p>{''.join(links)}</p>"

    @staticmethod
    def _told(report: Report, choices: list[Choice], files: str) -> str:
        shared = report.loaded is not None and choose(report.folder)
        told = (
            f"The pages are about it from now on: go to {page_link('counter', 'the counter')} or "
            f"to {page_link('start', 'the start')}."
            if shared
            else f"It is in {escape(str(report.folder))}."
        )
        return f"{report_html(imports.report(report, choices))}" + tables.wrap(
            f"{files}<p>{told}</p>"
        )
