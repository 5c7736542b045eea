"""Types of what `qc.jobs.receipts` offers; the package fetches each name on first use."""

from .accepted import Accepted as Accepted
from .accepted import accepted_readings as accepted_readings
from .accepted import accepted_since as accepted_since
from .lacking import brought_by as brought_by
from .lacking import still_missing as still_missing
from .receipt import RaisedSignal as RaisedSignal
from .receipt import SheetReceipt as SheetReceipt
from .receipt import Total as Total
from .receipt import UploadReceipt as UploadReceipt
