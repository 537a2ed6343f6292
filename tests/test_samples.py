"""The samples in docs/commands.md are what the commands print today."""

from __future__ import annotations

import pytest

from tests.samples import MORE, PAGE, printed, samples, shortened

# Commands on the demo do not each read it.
pytestmark = pytest.mark.usefixtures("demo_read_once")

#: Commands that take long, and which other tests ask as well.
SLOW = ("adapters", "gaps", "measure")

SAMPLES = samples(PAGE.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "command",
    [
        pytest.param(
            c,
            marks=pytest.mark.long if c.split()[1] in SLOW or "--in-stock" in c else (),
        )
        for c in SAMPLES
    ],
)
def test_a_sample_is_what_the_command_prints(command: str) -> None:
    shown = SAMPLES[command]
    assert shortened(printed(command), shown) == shown
    assert len(shown.removesuffix(f"{MORE}\n").splitlines()) >= 2


def test_every_command_that_answers_has_a_sample() -> None:
    told = {command.split()[1] for command in SAMPLES}
    page = PAGE.read_text(encoding="utf-8")
    headed = {line.split()[2] for line in page.splitlines() if line.startswith("## fitgraph ")}
    assert len(told) > 5 and headed - told == {"lab", "import"}  # a browser, and docs/your-data.md
