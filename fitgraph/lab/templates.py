"""Templates of pages, compiled once a server and not once a page.

Voila makes a new environment of Jinja for each page, which reads and compiles two dozen templates
again: most of what a server does for a page.
"""

from __future__ import annotations

import threading
from contextlib import suppress
from types import CodeType

import jinja2
import jinja2.meta
import voila.notebook_renderer
from voila.exporter import VoilaExporter
from voila.paths import collect_template_paths


class _Kept(jinja2.BytecodeCache):
    """Code of templates by name and content."""

    def __init__(self) -> None:
        self._codes: dict[tuple[str, str], CodeType | None] = {}

    def load_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
        """Give back the code of a template that was compiled before."""
        bucket.code = self._codes.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
        """Keep the code of a template."""
        self._codes[bucket.key, bucket.checksum] = bucket.code


_KEPT = _Kept()


class KeptExporter(VoilaExporter):
    """Makes pages as Voila does, of templates that are compiled once."""

    def _create_environment(self) -> jinja2.Environment:
        environment = super()._create_environment()
        environment.bytecode_cache = _KEPT
        return environment


def keep_templates(name: str) -> None:
    """Have this process make pages of kept templates, and compile those of a name beforehand."""
    # Voila names the class in its code and offers no setting for it.
    voila.notebook_renderer.VoilaExporter = KeptExporter

    def compiled() -> None:
        with suppress(Exception):  # whatever is wrong is told with the page
            paths = collect_template_paths(["voila", "nbconvert"], name)
            exporter = KeptExporter(template_paths=paths, template_name=name)
            environment = exporter.environment
            assert environment.loader is not None
            waiting, done = [str(exporter.template_file)], set[str]()
            while waiting:
                one = waiting.pop()
                if one in done:
                    continue
                done.add(one)
                environment.get_template(one)
                source = environment.loader.get_source(environment, one)[0]
                named = jinja2.meta.find_referenced_templates(environment.parse(source))
                waiting += [other for other in named if other]

    threading.Thread(target=compiled, daemon=True).start()
