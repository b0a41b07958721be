"""What a run needs later, made ready while it would wait for another process."""

from pipelines.compile_first import lay_made_lines
from pipelines.deliverables.files.layer_table import layers
from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.words.say import sentences, short_forms


def get_ready() -> None:
    """Load the loops that lay lines, the tables of what is handed over, and what writes it."""
    lay_made_lines()
    for read in (layers, symbols, sentences, short_forms):
        read()
    import pipelines.deliverables.lot.handover
    import pipelines.deliverables.lot.written  # noqa: F401
