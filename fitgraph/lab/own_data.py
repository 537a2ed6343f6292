"""Their own list becomes a catalogue: what its columns are, beside what is understood of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as widgets
from markupsafe import Markup

from fitgraph.errors import InputError
from fitgraph.intake.build import ASIDE, Imported
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
from fitgraph.intake.mapping import BY_TITLE, FIELDS, MAPPING, Meant
from fitgraph.intake.row_kinds import UnknownKind
from fitgraph.intake.sources import SourceSheet, read_held
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.chosen import choose
from fitgraph.lab.leads import page_link
from fitgraph.lab.look import (
    button,
    dropdown,
    fold,
    heading,
    html,
    in_row,
    note,
    row,
    sides,
    style,
    text_field,
)
from fitgraph.lab.saves import download_link
from fitgraph.lab.shown import Piece
from fitgraph.report.blocks import Report as Shown
from fitgraph.report.blocks import Say, fault, status
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


def _asking(
    name: str,
    options: list[tuple[str, Any]],
    value: Any,
    decide: Callable[[Any], None],
    told: str,
) -> widgets.Box:
    """Return a field in which somebody says what something is, and what is told beside it."""
    field = in_row(dropdown(name[:60], options, value=value, tooltip=name[:200]), "0 1 34em")
    field.observe(lambda change: decide(change["new"]), names="value")
    return row([field, note(told)])


def _files(folder: Path) -> Markup:
    """Return links that save what an import wrote for people."""
    links = (
        download_link(f"Save {name}", name, kind, (folder / name).read_bytes())
        for name, kind in ((ASIDE, "text/csv"), (MAPPING, "application/toml"))
        if (folder / name).exists()
    )
    return Markup("<p>{}</p>").format(Markup("").join(links))


def _where(done: Imported) -> Piece:
    """Return where a new catalogue is, and the ways to it where pages are about it from now on."""
    if done.loaded is None or not choose(done.folder):
        return Say(f"It is in {done.folder}.")
    told = Markup("<p>The pages are about it from now on: go to {} or to {}.</p>")
    return told.format(page_link("counter", "the counter"), page_link("start", "the start"))


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
        self.source = in_row(
            text_field(
                "List",
                "path of a spreadsheet, or sqlite:///stock.db#parts",
                continuous_update=False,
            )
        )
        self.upload = widgets.FileUpload(
            multiple=False,
            description="Choose a file",
            tooltip="Hand over a spreadsheet of up to 6 MB from this computer",
            layout=widgets.Layout(width="auto"),
        )
        self.into = in_row(
            text_field(
                "Catalogue",
                "folder of the catalogue to make, or to add to",
                value=_INTO,
                continuous_update=False,
            )
        )
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
            self.write(self.message, fault(told))
            return
        self.source.value = ""
        self._forget()
        self._prepare(lambda: read_held(name, data))

    def _typed(self) -> None:
        typed = self.source.value.strip()
        if not typed:
            self.write(self.message, fault("Type the path of your list, or choose a file."))
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
        self, sources: Callable[[], Sequence[str | SourceSheet]], *, again: bool = False
    ) -> None:
        self.drop(self.done)
        # Whoever presses to import right after naming the folder presses a button that is open.
        self.job, self.take.disabled, self._pressed = None, not again, False
        self.write(self.done)
        self.write(self.message, status("Reading …"))
        folder = self.folder()

        def over(whole: bool) -> None:
            self.answer.layout.display = "flex" if whole else "none"

        read = Task(lambda: prepared(sources(), *serving(folder)), self._prepared)
        self.work_out(lambda: [read], self.message, over)

    def _prepared(self, job: Job) -> None:
        """Ask about what was read."""
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
        self.write(self.message, Shown(told))
        before, self._unsure = (
            self._unsure,
            {(c.source, c.column) for c in self.choices if not c.sure},
        )
        unsure = [n for n, c in enumerate(self.choices) if not c.sure]
        sure = [n for n, c in enumerate(self.choices) if c.sure]
        self.questions.children = [self._question(n) for n in unsure[:_COLUMNS]]
        self.certain.children = [self._question(n) for n in sure[:_COLUMNS]]
        self._ask_kinds()
        self.take.disabled = False
        self._understand()
        if self._pressed and self._unsure <= before:
            self._import()
        elif self._pressed:
            told = "With this folder's words more is not certain: look above, then press again."
            self.write(self.done, status(told))

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
        return [(f"{imports.meaning(c)}: {imports.told(c)}", c) for c in (*likely, *rest)]

    def _question(self, place: int) -> widgets.Box:
        choice = self.choices[place]

        def decide(meant: Meant | None) -> None:
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

        holds = f"holds {', '.join(choice.samples) or 'nothing'}"[:90]
        return _asking(choice.column, self._options(choice), choice.taken, decide, holds)

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
        options = [(told, name) for name, told in imports.kinds(self.job.vocabulary)]

        def decide(role: str | None) -> None:
            if self.job is not None:
                self._kinds_said[word] = role or ""
                self.job = with_kind(self.job, word, self._kinds_said[word])
                self._understand()

        told = f"which kind of part? {imports.which_rows(kind)}"
        return _asking(word, options, self._kinds_said[word], decide, told)

    def _understand(self) -> None:
        """Show the first rows beside what is understood of them."""
        assert self.job is not None
        told = "Say what these are, or leave the guess:"
        if not self.questions.children and not self.kinds.children:
            told = "Every column is certain; look at the first rows below."
        self.write(self.asked, Say(told))
        with self.in_words(self.message):
            vocabulary = self.job.vocabulary
            shown = first_rows(self.job, self.choices, _ROWS)[:_TABLES]
            self.write(self.standing, *(imports.as_they_stand(t) for t, _ in shown))
            self.write(self.seen, *(imports.understood(i, vocabulary) for _, i in shown))

    # ---------------------------------------------------------------- importing

    def _import(self) -> None:
        if self.job is None:  # it is read once more, and taken as soon as it is
            self._pressed = True
            return
        job, choices, folder = self.job, list(self.choices), self.folder()
        self.take.disabled = True
        self.write(self.done, status("Importing …"))

        def write() -> tuple[Piece, ...]:
            try:
                done = imports.import_tables(job, choices, folder)
                return imports.report(done, choices), _files(folder), _where(done)
            except OSError as error:
                raise InputError(str(error)) from None

        def over(_whole: bool) -> None:
            self.take.disabled = False

        told = Task(write, lambda pieces: self.write(self.done, *pieces))
        self.work_out(lambda: [told], self.done, over)
