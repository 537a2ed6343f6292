"""Write builds to a Parquet or CSV file, batch by batch, in constant memory."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from fitgraph.array_types import Floats
from fitgraph.files import written_whole
from fitgraph.plain import cell
from fitgraph.records import dataclass
from fitgraph.solve.query import TENTHS, Query
from fitgraph.solve.scan import Patience, Piece, scan
from fitgraph.solve.stream import Batch

#: Builds between two looks at the clock.
_PIECE = 1 << 20


@dataclass(frozen=True, slots=True)
class Written:
    """What was written.

    Parameters
    ----------
    path : Path
        The file.
    builds : int
        Rows in it.
    reached : int
        The index up to which builds were walked; go on from here.
    ended : str
        Why it ended early; empty where all was written.
    """

    path: Path
    builds: int
    reached: int
    ended: str = ""


def _same(batch: Batch) -> Batch:
    return batch


def _pieces(
    query: Query, start: int, stop: int | None, patience: Patience | None, certain: bool
) -> Iterator[Piece[Batch]]:
    return scan(
        query, _same, certain=certain, start=start, stop=stop, piece=_PIECE, patience=patience
    )


def _labels(query: Query) -> dict[str, list[str]]:
    return {
        role: [o.label if o.part is not None else "" for o in options]
        for role, options in query.space.options.items()
    }


def _sums(query: Query, batch: Batch) -> tuple[Floats, Floats]:
    """Return prices in major currency units, and masses [g]: nan where a part's is not known."""
    known = np.ones(len(batch), dtype=bool)
    for role, weighed in query.weighed.items():
        if not weighed.all():
            known &= weighed[batch.options[role]]
    minor = 10**query.space.catalogue.vocabulary.minor_digits
    return batch.price / minor, np.where(known, batch.tenths / TENTHS, np.nan)


def write_parquet(
    query: Query,
    path: str | Path,
    *,
    start: int = 0,
    stop: int | None = None,
    certain: bool = True,
    patience: Patience | None = None,
    progress: Callable[[int], None] | None = None,
) -> Written:
    """Write builds to a Parquet file.

    Parameters
    ----------
    query : Query
        The question over a compiled catalogue.
    path : str or Path
        Overwritten if it is there.
    start, stop : int
        Range of indices in the order of all builds.
    certain : bool
        Whether builds that are only possible are left out.
    patience : Patience, optional
        When to end early; what is written so far stays and can be read.
    progress : callable, optional
        Told the index that was reached.

    Returns
    -------
    Written
        One column a role with stock numbers (empty where none), ``price``
        in major currency units, ``mass_g`` (null where a part's is not known).

    Raises
    ------
    ImportError
        If pyarrow, of the extra ``arrow``, is not installed.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    labels = {role: pa.array(of_role) for role, of_role in _labels(query).items()}
    fields = [(role, pa.dictionary(pa.int32(), pa.string())) for role in labels]
    schema = pa.schema([*fields, ("price", pa.float64()), ("mass_g", pa.float64())])
    builds, reached, ended = 0, start, ""
    with written_whole(path, "wb") as file, pq.ParquetWriter(file, schema) as writer:
        for piece in _pieces(query, start, stop, patience, certain):
            for batch in piece.results:
                columns = [
                    pa.DictionaryArray.from_arrays(batch.options[r].astype(np.int32), labels[r])
                    for r in labels
                ]
                # Of pandas is only meant that what is not known is null and not nan.
                sums = [pa.array(of, from_pandas=True) for of in _sums(query, batch)]
                writer.write_batch(pa.record_batch([*columns, *sums], schema=schema))
                builds += len(batch)
            reached, ended = piece.stop, piece.ended
            if progress is not None:
                progress(reached)
    return Written(Path(path), builds, reached, ended)


def write_csv(
    query: Query,
    path: str | Path,
    *,
    start: int = 0,
    stop: int | None = None,
    certain: bool = True,
    patience: Patience | None = None,
    progress: Callable[[int], None] | None = None,
) -> Written:
    """Write builds to a CSV file; parameters as in :func:`write_parquet`.

    No label in it can begin a formula.
    """
    labels = {
        r: np.array([cell(label) for label in of_role], dtype=object)
        for r, of_role in _labels(query).items()
    }
    builds, reached, ended = 0, start, ""
    with written_whole(path) as file:
        writer = csv.writer(file)
        writer.writerow([*map(cell, labels), "price", "mass_g"])
        for piece in _pieces(query, start, stop, patience, certain):
            for batch in piece.results:
                columns = [labels[r][batch.options[r]] for r in labels]
                price, mass = (of.tolist() for of in _sums(query, batch))
                told = ["" if math.isnan(g) else g for g in mass]
                writer.writerows(zip(*columns, price, told, strict=True))
                builds += len(batch)
            reached, ended = piece.stop, piece.ended
            if progress is not None:
                progress(reached)
    return Written(Path(path), builds, reached, ended)
