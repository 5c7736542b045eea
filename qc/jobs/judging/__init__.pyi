"""Types of what `qc.jobs.judging` offers; the package fetches each name on first use."""

from .catching_up import NOTHING_STORED as NOTHING_STORED
from .catching_up import STORED_AND_JUDGED as STORED_AND_JUDGED
from .catching_up import STORED_NOT_JUDGED as STORED_NOT_JUDGED
from .catching_up import NotJudged as NotJudged
from .catching_up import brought_up as brought_up
from .catching_up import catch_up as catch_up
from .catching_up import ending as ending
from .catching_up import judge_afresh as judge_afresh
from .catching_up import judge_anew as judge_anew
from .catching_up import judge_waiting as judge_waiting
from .catching_up import not_judged_since as not_judged_since
from .catching_up import touched_by as touched_by
from .gauge_checks import master_checks as master_checks
from .kept import at_latest as at_latest
from .kept import load_verdicts as load_verdicts
from .looking_back import Joined as Joined
from .looking_back import SignalOfDay as SignalOfDay
from .looking_back import looks_back as looks_back
from .looking_back import signals_of_day as signals_of_day
from .looking_back import told_at_closing as told_at_closing
from .looking_back import verdicts_of_day as verdicts_of_day
from .names import answering as answering
from .names import name_of as name_of
from .rates import present_budget as present_budget
from .verdicts import decisions_of as decisions_of
from .verdicts import judge_now as judge_now
