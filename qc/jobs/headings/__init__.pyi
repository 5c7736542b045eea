"""Types of what `qc.jobs.headings` offers; the package fetches each name on first use."""

from .proposing import Proposal as Proposal
from .proposing import propose_mapping as propose_mapping
from .remembering import confirmed_text as confirmed_text
from .remembering import mappings_for as mappings_for
from .remembering import read_mapping_file as read_mapping_file
