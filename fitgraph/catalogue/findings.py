"""What is wrong in a catalogue, where, and how to mend it; and where every row went."""

from __future__ import annotations

from collections import Counter
from dataclasses import field, replace
from pathlib import Path

from fitgraph.errors import InputError, brief
from fitgraph.records import dataclass

#: A figure or a row could not be used.
ERROR = "error"
#: Everything was used, but somebody should look.
WARNING = "warning"

_SHOWN_CHARACTERS = 60

#: Faults of one kind in one column are told this often; then they are only counted.
MOST_ALIKE = 100


def shorten(value: str) -> str:
    """Return a value short enough for a message, with control characters made visible."""
    plain = "".join(c if c.isprintable() else repr(c)[1:-1] for c in value[: _SHOWN_CHARACTERS + 1])
    return plain if len(value) <= _SHOWN_CHARACTERS else plain[:_SHOWN_CHARACTERS] + "…"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong in a catalogue.

    Parameters
    ----------
    file : str
        Name of the file in the folder.
    row : int or None
        Line number in the file, from 1; None for the whole file.
    column : str
        Name of the column, empty for the whole row.
    value : str
        What stands there, shortened.
    message : str
        What is wrong with it.
    remedy : str
        How to mend it.
    severity : str
        :data:`ERROR` or :data:`WARNING`.
    code : str
        What kind of fault it is, in a word that stays the same from version to version;
        ``fault`` where no program is expected to ask.
    sku : str
        Stock number of the part that it is about; empty where it is about none.
    """

    file: str
    row: int | None
    column: str
    value: str
    message: str
    remedy: str
    severity: str = ERROR
    code: str = "fault"
    sku: str = ""

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", row {self.row}"
        if self.column:
            place += f", column {self.column}"
        shown = f": {self.value!r}" if self.value else ""
        return brief(f"{place}{shown} {self.message}. {self.remedy}.")


#: Lines of a message, whatever is wrong.
_SCREEN = 20


class CatalogueError(InputError):
    """Nothing can go on; the findings say why.

    Parameters
    ----------
    findings : sequence of Finding
        What has to be mended first.

    Attributes
    ----------
    folder : Path or None
        The folder that was to be read, where it is one.
    """

    def __init__(self, findings: list[Finding]) -> None:
        self.findings = tuple(findings)
        self.folder: Path | None = None
        told = [str(f) for f in findings]
        if len(told) > _SCREEN:  # the last says why nothing can go on
            more = f"... {len(told) - _SCREEN + 1} more: fitgraph check, or .findings"
            told[_SCREEN - 2 : -1] = [more]
        super().__init__("\n".join(told))


class Notes:
    """Collects findings; of many that are alike it tells the first and counts the rest."""

    def __init__(self) -> None:
        self.findings: list[Finding] = []
        self._alike: Counter[tuple[str, str, str, str, str]] = Counter()

    def add(
        self,
        code: str,
        file: str,
        row: int | None,
        column: str,
        value: str,
        message: str,
        remedy: str,
        severity: str = ERROR,
        sku: str = "",
    ) -> None:
        """Add a finding of these words.

        Parameters
        ----------
        code, file, row, column, value, message, remedy, severity, sku
            As in :class:`Finding`.
        """
        self.take(Finding(file, row, column, value, message, remedy, severity, code, sku))

    def take(self, finding: Finding) -> None:
        """Add a finding; its value is shortened here.

        Parameters
        ----------
        finding : Finding
            As it was made.
        """
        f = finding
        kind = (f.code, f.file, f.column, f.remedy, f.severity)
        self._alike[kind] += 1
        if self._alike[kind] <= MOST_ALIKE:
            self.findings.append(replace(f, value=shorten(f.value)))

    def all(self) -> tuple[Finding, ...]:
        """Return every finding, and a count of those that were not told one by one."""
        rest = [
            Finding(
                file,
                None,
                column,
                "",
                f"has {times - MOST_ALIKE:,} more faults of this kind",
                remedy,
                severity,
                code,
            )
            for (code, file, column, remedy, severity), times in self._alike.items()
            if times > MOST_ALIKE
        ]
        return (*self.findings, *rest)


class LostRowError(AssertionError):
    """A row was neither used nor set aside: a fault of fitgraph itself."""


@dataclass(slots=True)
class RowTally:
    """Where the rows of one table went.

    Parameters
    ----------
    file : str
        The table.
    read : int
        Rows below the header that hold anything.
    loaded : int
        Rows that were used.
    aside : list of int
        Line numbers of the rows that were not.
    """

    file: str
    read: int = 0
    loaded: int = 0
    aside: list[int] = field(default_factory=list)

    def check(self) -> None:
        """Make sure that no row was lost: read = loaded + set aside.

        Raises
        ------
        LostRowError
            If one was.
        """
        if self.read != self.loaded + len(self.aside):
            raise LostRowError(
                f"{self.file}: {self.read} rows read, {self.loaded} loaded and "
                f"{len(self.aside)} set aside"
            )
