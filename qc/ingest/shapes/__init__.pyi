"""Types of what `qc.ingest.shapes` offers; the package fetches each name on first use."""

from .bench_words import other_wordings as other_wordings
from .bench_words import place_meant as place_meant
from .bench_words import same_words as same_words
from .crossed import MapReading as MapReading
from .crossed import crossings as crossings
from .crossed import place_values as place_values
from .derived import is_derived as is_derived
from .derived import shots as shots
from .filling import WHAT as WHAT
from .filling import WHERE as WHERE
from .filling import fill_rows as fill_rows
from .filling import needs_filling as needs_filling
from .phrases import Phrase as Phrase
from .phrases import read_phrase as read_phrase
from .phrases import spelled_out as spelled_out
from .split_figures import ways_to_join as ways_to_join
