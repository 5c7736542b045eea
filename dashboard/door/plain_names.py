"""The framework's scripts under names that tell no version of any library."""

from __future__ import annotations

import re
from hashlib import sha256
from typing import Any, Final

from dash import Dash
from flask import abort

SCRIPT: Final = re.compile(r'src="/_dash-component-suites/([^/"]+)/([^"]+)"')
VERSION: Final = re.compile(r"\.v([\w-]+)m([0-9a-fA-F]+)\.")


class PlainNames:
    """Names scripts anew, each by a digest that changes with its version, and serves them under that."""

    def __init__(self, app: Dash) -> None:
        self._app = app
        self._files: dict[str, tuple[str, str]] = {}
        app.server.add_url_rule("/parts/<name>", view_func=self._serve, endpoint="parts")

    def without_versions(self, scripts: str) -> str:
        """Return the script elements of a page with names that tell no version."""
        return SCRIPT.sub(self._named, scripts)

    def _named(self, found: re.Match[str]) -> str:
        package, path = found.groups()
        if "@" in path:  # the version is part of the file's own name
            name = f"{_digest(path)}.js"
            self._files[name] = (package, path)
            return f'src="/parts/{name}"'
        # these load further scripts from beside themselves, so they stay in their place
        plain = VERSION.sub(lambda m: f".v{_digest(m[1])}m{m[2]}.", path)
        return f'src="/_dash-component-suites/{package}/{plain}"'

    def _serve(self, name: str) -> Any:
        if name not in self._files:
            abort(404, "There is no such script. Load the page again.")
        return self._app.server.view_functions[_SUITES](*self._files[name])


_SUITES: Final = "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>"


def _digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()[:12]
