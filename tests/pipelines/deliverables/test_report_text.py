"""Blocks of a report as plain text."""

from pipelines.deliverables.report.blocks import Facts, Figure, Items, Number, Paragraph, Subhead
from pipelines.deliverables.report.text import blocks_as_text


def test_blocks_are_wrapped_and_titled():
    blocks = (
        Paragraph(("The swale takes ", Number("7.91 cfs", "7.91", "cfs", 0.224, ""), "."), "strong"),
        Facts((("Reaches", (("All take it.",), ("a " * 20,))),)),
        Figure("f", "left out", "<svg/>", ""),
        Subhead("Measure on site"),
        Items((("the bottom",),), "box"),
    )
    assert blocks_as_text(blocks, 24) == (
        "The swale takes 7.91\ncfs.\n\n"
        "Reaches\n  - All take it.\n  - a a a a a a a a a a\n    a a a a a a a a a a\n\n"
        "Measure on site\n  - the bottom"
    )
