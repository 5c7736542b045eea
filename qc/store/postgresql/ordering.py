"""One order of words in every database: that of their bytes, as SQLite has it."""

from __future__ import annotations

from typing import Any

from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement


class by_bytes(FunctionElement[str]):
    """A text column to order by, byte by byte.

    PostgreSQL orders words as the language of the database does, so the same rows would be told in another
    order, and hashed in it, on a server that speaks another language.
    """

    name = "by_bytes"
    inherit_cache = True


@compiles(by_bytes)
def _plain(element: by_bytes, compiler: SQLCompiler, **how: Any) -> str:
    return compiler.process(element.clauses, **how)


@compiles(by_bytes, "postgresql")
def _collated(element: by_bytes, compiler: SQLCompiler, **how: Any) -> str:
    return f'{compiler.process(element.clauses, **how)} COLLATE "C"'
