"""What a server answers when it does not do as it is told, and what a person can do about it."""

from __future__ import annotations

_BY_CODE = {
    "55P03": "Another program keeps {name} locked. Let it finish, or close it, and try again.",
    "53100": "The disk of {name} is full ({said}). Make room on the server and try again.",
    "53300": "The server of {name} takes no more connections ({said}). Close other programs that use it, "
    "or have its max_connections raised.",
    "28P01": "The server of {name} does not let us in ({said}). Mend the user in the address, or the "
    "password in ~/.pgpass.",
    "28000": "The server of {name} does not let us in ({said}). Mend the user in the address, or its line in "
    "the server's pg_hba.conf.",
    "3D000": "There is no database {name} ({said}). Mend its name in the address, or have it made.",
    "3F000": "{name} has no schema for this user ({said}). Have it made: "
    "CREATE SCHEMA AUTHORIZATION and the user's name.",
    "42501": "The user of {name} lacks a right ({said}). Is the address the one of this workshop? Else have "
    "the right given.",
    "25006": "{name} takes nothing that is new ({said}). Is it a copy that is read only? Name the server "
    "that is written to.",
    "57P01": "The server of {name} was stopped ({said}). Nothing half done is kept. Try again once it runs.",
    "57P03": "The server of {name} is just starting or stopping ({said}). Try again in a minute.",
}
"""Sentences by SQLSTATE (PostgreSQL documentation, Appendix A, "PostgreSQL Error Codes")."""

_BY_WORDS = {
    "password": "28P01",
    "pg_hba.conf": "28000",
    "role ": "28000",
    "permission denied for database": "42501",
    "connection slots": "53300",
    "too many clients": "53300",
    "starting up": "57P03",
    "shutting down": "57P03",
    "database ": "3D000",
}
"""Who is refused at the door gets no SQLSTATE from the driver; these follow ``FATAL:``, the first counts."""

_GONE = (
    "The server of {name} does not answer ({said}). Does it run, and is the address right? Try again then."
)


def said_by_server(name: str, code: str | None, said: str) -> str | None:
    """Return the sentence for what a server answered, None where it is nothing of its own.

    Parameters
    ----------
    name : str
        Address of the database, without a password.
    code : str or None
        The SQLSTATE; None where no server was reached.
    said : str
        Its own words.

    Examples
    --------
    >>> said_by_server("postgresql://host/shop", "55P03", "canceling statement due to lock timeout")
    'Another program keeps postgresql://host/shop locked. Let it finish, or close it, and try again.'
    """
    words = " ".join(said.split())
    if code is None and "FATAL:" in words:
        refused = words.split("FATAL:")[-1]
        code = next((own for word, own in _BY_WORDS.items() if word in refused), None)
    if code is None or code.startswith("08"):  # class 08: connection exception
        return _GONE.format(name=name, said=words)
    sentence = _BY_CODE.get(code)
    return None if sentence is None else sentence.format(name=name, said=words)


def in_doubt(name: str) -> str:
    """Return the sentence for a server that broke off while it made something durable, and stays away.

    Examples
    --------
    >>> in_doubt("postgresql://host/shop").split(". ")[1]
    'Whether this was stored cannot be told'
    """
    return (
        f"The server of {name} broke off just while it stored this, and does not answer. Whether this was "
        "stored cannot be told. Once it runs, do the same again: what is there already does not come twice."
    )
