"""Types of what `qc.jobs.inbox` offers; the package fetches each name on first use."""

from .folder import FolderReceipt as FolderReceipt
from .folder import upload_folder as upload_folder
