"""Types of what `qc.jobs.people` offers; the package fetches each name on first use."""

from .changing import PersonAnswer as PersonAnswer
from .changing import add_person as add_person
from .changing import leave as leave
from .changing import reset_person as reset_person
from .listing import People as People
from .listing import list_people as list_people
from .passwords import PASSWORD_LENGTH as PASSWORD_LENGTH
from .passwords import PIN_DIGITS as PIN_DIGITS
from .signing import NO_LIST as NO_LIST
from .signing import PASSWORD as PASSWORD
from .signing import PIN as PIN
from .signing import WALL as WALL
from .signing import Doorkeeper as Doorkeeper
from .signing import OpenDoor as OpenDoor
from .signing import Signed as Signed
from .signing import SignInRefused as SignInRefused
from .signing import StoreDoorkeeper as StoreDoorkeeper
