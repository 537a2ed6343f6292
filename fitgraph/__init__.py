"""fitgraph: which parts fit together, why the rest do not, and what would change that.

Examples
--------
>>> import fitgraph
>>> shop = fitgraph.open()
>>> shop.why("BAR-MAR-05", "CLMP-SKE-02").verdict
'fails'

Layers import only downwards; docs/architecture.md draws them. Nothing but this module's own
few lines is loaded until a catalogue is opened.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitgraph.errors import InputError

if TYPE_CHECKING:
    import os

    from fitgraph.shop import Shop

__all__ = ["InputError", "__version__", "open"]

__version__ = "0.1.0"


def open(folder: str | os.PathLike[str] | None = None) -> Shop:
    """Open a catalogue folder; the demo, an invented shop, where none is named.

    Parameters
    ----------
    folder : path, optional
        The folder.

    Returns
    -------
    Shop
        Answers every question. Rows that cannot be used are left out, and
        :meth:`Shop.check` tells which and why.

    Raises
    ------
    InputError
        If the folder cannot be used at all; the message says what to mend.

    Examples
    --------
    >>> import fitgraph
    >>> fitgraph.open().name
    'demo'
    """
    from fitgraph.shop import open_shop

    return open_shop(folder)
