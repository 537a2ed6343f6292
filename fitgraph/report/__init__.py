"""What is shown of an answer, made once; one writer for each medium.

A module for each kind of answer makes three things of it: its data (the shapes of ``--json``),
its tables, and its report (sentences, tables, pictures and cautions). The writers ``as_text``,
``as_html``, ``as_csv`` and ``as_frame`` know nothing of any answer.
"""

from fitgraph.report.blocks import Block, Picture, Report, Say, Section, Tone
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import Unit

__all__ = ["Block", "Column", "Picture", "Report", "Say", "Section", "Table", "Tone", "Unit"]
