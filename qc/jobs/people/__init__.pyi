"""Types of what `qc.jobs.people` offers; the package fetches each name on first use."""

from .changing import PersonAnswer as PersonAnswer
from .changing import add_person as add_person
from .changing import leave as leave
from .changing import reset_person as reset_person
from .listing import People as People
from .listing import list_people as list_people
