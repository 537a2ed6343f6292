"""What is wrong in a catalogue, where, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass

#: A figure or a row could not be used.
ERROR = "error"
#: Everything was used, but somebody should look.
WARNING = "warning"

_SHOWN_CHARACTERS = 60


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
    """

    file: str
    row: int | None
    column: str
    value: str
    message: str
    remedy: str
    severity: str = ERROR

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", row {self.row}"
        if self.column:
            place += f", column {self.column}"
        shown = f" {self.value!r}" if self.value else ""
        return f"{place}:{shown} {self.message}. {self.remedy}."


class CatalogueError(Exception):
    """Nothing can go on; the findings say why.

    Parameters
    ----------
    findings : sequence of Finding
        What has to be mended first.
    """

    def __init__(self, findings: list[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(str(f) for f in findings))
