"""Types of what `qc.jobs.export` offers; the package fetches each name on first use."""

from .columns import TABLES as TABLES
from .columns import TableColumn as TableColumn
from .columns import TableName as TableName
from .exporting import ExportedFile as ExportedFile
from .exporting import ExportedTables as ExportedTables
from .exporting import export_tables as export_tables
from .single import table_file as table_file
from .writing import ExportFormat as ExportFormat
