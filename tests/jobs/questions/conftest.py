"""Write the tables that questions are asked of."""

import polars as pl
import pytest


@pytest.fixture
def table(tmp_path):
    """Write columns as a file of the kind that its name ends in, and give its path."""

    def make(columns, name="t.csv"):
        path = tmp_path / name
        frame = pl.DataFrame(columns)
        {".csv": frame.write_csv, ".parquet": frame.write_parquet, ".xlsx": frame.write_excel}[path.suffix](
            path
        )
        return path

    return make
