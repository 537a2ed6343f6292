"""fitgraph: which parts fit together, why the rest do not, and what would change that.

Layers import only downwards: ``model`` and ``units``, ``mechanics``, ``catalogue``,
``graph``, ``solve``, ``explain`` / ``stock`` / ``adapters``, ``draw``, ``lab`` and ``cli``.
"""

__version__ = "0.1.0"
