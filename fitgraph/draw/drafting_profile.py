"""The half section of a turned part: the outline that turns about the axis to make it."""

from __future__ import annotations

from fitgraph.adapters.sheet import SpecSheet
from fitgraph.model import Reference
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Turned:
    """A turned part with a straight bore, a straight slot and lead-ins at both ends, in mm.

    ``bore``, ``slot`` and the chamfers are zero where there is none.
    """

    outside: float
    bore: float
    slot: float
    length: float
    chamfer_outside: float
    chamfer_bore: float

    def scaled(self, by: float) -> Turned:
        """Return the part drawn to a scale."""
        return Turned(
            self.outside * by,
            self.bore * by,
            self.slot * by,
            self.length * by,
            self.chamfer_outside * by,
            self.chamfer_bore * by,
        )

    @property
    def half_section(self) -> tuple[tuple[float, float], ...]:
        """Return its corners as (along the axis, away from the axis), in order, without doubles."""
        long, outer, inner = self.length, self.outside / 2, self.bore / 2
        far, near = self.chamfer_outside, self.chamfer_bore
        corners = (
            (0.0, inner + near),
            (0.0, outer - far),
            (far, outer),
            (long - far, outer),
            (long, outer - far),
            (long, inner + near),
            (long - near, inner),
            (near, inner),
        )
        return tuple(dict.fromkeys(corners))


def turned(sheet: SpecSheet, *, middle: bool = False) -> Turned:
    """Return the shape that a sheet describes.

    Parameters
    ----------
    sheet : SpecSheet
        What is known of the part.
    middle : bool
        Whether sizes stand in the middle of their limits; otherwise they are the nominal ones.
    """
    sizes = {s.reference: s.dimension.mid if middle else s.nominal for s in sheet.sizes}
    make, shape, work = sheet.make, sheet.shape, sheet.make.work
    hollow = make.bore is not None and shape.bore is not None
    return Turned(
        outside=sizes[make.outside],
        bore=sizes[make.bore] if hollow and make.bore is not None else 0.0,
        slot=sizes[make.slot] if make.slot is not None and shape.slot is not None else 0.0,
        length=sizes[make.length] if isinstance(make.length, Reference) else make.length,
        chamfer_outside=work.chamfer_outside,
        chamfer_bore=work.chamfer_bore if hollow else 0.0,
    )
