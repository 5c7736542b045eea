"""Puts the board together: one Dash app over one workshop's data."""

from __future__ import annotations

import re
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, dcc, html
from dash.dependencies import ClientsideFunction
from dash.development.base_component import Component
from flask import Flask, Response, after_this_request, current_app, request

from dashboard import answers, bench, corrections, door, downloads, printed, queries, standing, uploads
from dashboard.door import PlainNames, Role, needs, role_of
from dashboard.pages import PAGES
from dashboard.pages.missing import missing
from dashboard.pages.office import answering
from dashboard.parts import masthead
from dashboard.routing import match
from dashboard.wall import LOOKS, add_day_sheet, add_wall
from qc.errors import QcError
from qc.jobs.board import BoardData, UploadDesk
from qc.jobs.office import Office
from qc.jobs.people import Doorkeeper, OpenDoor
from qc.jobs.shops import NoGroup, ShopWatch

INDEX = """<!doctype html>
<html lang="en"{theme}>
<head>
{metas}
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
{favicon}
<link rel="stylesheet" href="/theme.css">
{css}
<meta name="board-token" content="{token}">
</head>
<body>
{app_entry}
<footer hidden>{config}{scripts}{renderer}</footer>
</body>
</html>"""


def create_app(
    workshop_folder: Path | str, as_of: date | None = None, group: Path | str | None = None
) -> Dash:
    """Return the board of a workshop folder, standing on the day `as_of` where one is given.

    With `group`, a folder of workshops, it has a page on which its lead looks over all of them.
    """
    from dashboard.desk import WorkerDesk
    from qc.jobs.board import StoreBoardData
    from qc.jobs.office import StoreOffice
    from qc.jobs.people import StoreDoorkeeper
    from qc.jobs.shops import ShopGroup

    folder = Path(workshop_folder)
    board, desk = StoreBoardData(folder, as_of), WorkerDesk(folder, as_of)
    over = ShopGroup(Path(group), as_of) if group is not None else None
    return build_app(board, desk, StoreDoorkeeper(folder), StoreOffice(folder, as_of), over)


def build_app(
    board: BoardData,
    desk: UploadDesk,
    keeper: Doorkeeper | None = None,
    office: Office | None = None,
    group: ShopWatch | None = None,
) -> Dash:
    """Return a board over any data that answers its questions; the tests bring invented ones.

    Parameters
    ----------
    board, desk : BoardData, UploadDesk
        What answers, and what takes in.
    keeper : Doorkeeper, optional
        Who knows the people; without one nobody signs in.
    office : Office, optional
        What keeps the list of people and the plan; only the pages of the two need one.
    group : ShopWatch, optional
        The workshops it looks over; without one it has no page for them.
    """
    server = Flask("dashboard", static_folder=None)
    server.config[door.KEEPER_KEY] = keeper or OpenDoor()
    server.config[queries.DATA_KEY] = board
    server.config[queries.DESK_KEY] = desk
    server.config[queries.OFFICE_KEY] = office
    server.config[queries.GROUP_KEY] = group or NoGroup()
    app = _Board(
        "dashboard",
        server=server,
        assets_folder=str(files("dashboard") / "assets"),
        assets_ignore=r"bench\..*",  # the bench's pages name their own
        title=board.shop().name,
        update_title="",
        serve_locally=True,
        suppress_callback_exceptions=True,
        add_log_handler=False,
        enable_mcp=False,
    )
    app.names = PlainNames(app)
    app.layout = _frame
    # what the wall and the sheet of the day name themselves is no part of every other page
    app.config.assets_ignore = "|".join(filter(None, (app.config.assets_ignore, LOOKS)))
    _register_router(app)
    for page in PAGES:
        if page.register is not None:
            page.register(app)
    door.guard(server, lambda: list(app.csp_hashes()))
    door.guard_roles(app)
    door.guard_callbacks(app)
    door.add_sign_in(server)
    downloads.add_routes(server)
    printed.add_routes(server)
    add_wall(server)
    add_day_sheet(server)
    answering.add_routes(server)
    uploads.add_routes(server)
    bench.add_routes(server)
    answers.add_routes(server)
    corrections.add_routes(server)
    standing.guard_past(server)
    return app


class _Board(Dash):  # type: ignore[misc]
    """A Dash app whose page carries the reader's theme before anything is drawn, and tells no versions."""

    names: PlainNames

    def interpolate_index(self, **parts: Any) -> str:
        chosen = queries.chosen_theme()
        parts.pop("title", None)
        mark = f' data-theme="{chosen}"' if chosen else ""
        parts["scripts"] = self.names.without_versions(parts["scripts"])
        parts["favicon"] = re.sub(r"\?v=[^\"]*", "", parts["favicon"])
        parts["config"] = re.sub(
            r'"(\w+_version|dash_version_url)":(?:"[^"]*"|null)', r'"\1":""', parts["config"]
        )
        token = door.page_token()
        status = 200 if match(PAGES, request.path) else 404

        @after_this_request
        def hand_out(response: Response) -> Response:
            """Let the framework's own posts bear the token too; an address without a page says so as well."""
            secure = bool(current_app.config.get(door.SECURE_KEY))
            response.set_cookie(door.TOKEN_COOKIE, token, samesite="Strict", secure=secure)
            response.status_code = status
            return response

        return INDEX.format(theme=mark, title=self.title, token=token, **parts)


def _frame() -> Component:
    return html.Div(
        [
            dcc.Location(id="url", refresh="callback-nav"),
            masthead(queries.board().shop(), standing.chooser()),
            html.Main(html.P("Opening the board …", className="quiet"), id="main", tabIndex=-1),
            dcc.Store(id="page-name"),
            html.Div(id="announce", className="unseen", role="status", **{"aria-live": "polite"}),
        ]
    )


def _register_router(app: Dash) -> None:
    """Turn every page with one callback, so that no page knows another and the address alone says which."""

    @needs(Role.TECHNICIAN)
    def show_page(path: str | None) -> tuple[Component, list[Component], str]:
        """Return the page for an address."""
        wrong = _stand()
        shop = queries.board().shop().name
        if wrong:
            return html.P(wrong, className="card warn", role="status"), _navigation(""), shop
        found = match(PAGES, path or "/")
        if found is None:
            return missing(), _navigation(""), f"Not found · {shop}"
        page, parts = found
        _, lacking = door.lacks(role_of(page.layout))
        if lacking:
            return html.P(lacking, className="card warn", role="status"), _navigation(page.section), shop
        day = queries.standing_day()
        body = html.Div([*standing.banner(path or "/"), *_waits(), page.layout(**parts)])
        if day is not None:
            body.className = "past"
        links = _navigation(page.section)
        standing.keep_day([one for one in body.children if getattr(one, "id", "") != "past-banner"])
        standing.keep_day(links)
        return (
            body,
            links,
            f"{page.title(**parts)} · {shop}",
        )

    app.callback(
        Output("main", "children"),
        Output("nav", "children"),
        Output("page-name", "data"),
        Input("url", "pathname"),
    )(show_page)
    app.clientside_callback(
        ClientsideFunction("board", "turnPage"), Output("announce", "children"), Input("page-name", "data")
    )
    app.clientside_callback(
        ClientsideFunction("board", "switchTheme"),
        Output("theme-switch", "className"),
        Input("theme-switch", "n_clicks"),
        prevent_initial_call=True,
    )


def _stand() -> str:
    """Stand on the past day that the address of the page names; return a sentence where that cannot be."""
    asked = queries.asked_day()
    queries.stand_on(None)
    if not asked:
        return ""
    try:
        day = date.fromisoformat(asked)
    except ValueError:
        return f"'{asked[:40]}' is not a day. Write it in the address as known=YYYY-MM-DD."
    if day >= queries.board().shop().day:
        return ""  # today is what the board shows anyway
    queries.stand_on(day)
    try:
        queries.board()
    except QcError as error:
        queries.stand_on(None)
        return str(error)
    return ""


def _waits() -> list[Component]:
    """Say since when something is not judged, and have the worker judge it; no page waits for it."""
    sentence = queries.board().not_judged()
    if not sentence:
        return []
    queries.desk().judge()
    return [html.P(sentence, className="card warn", role="status")]


def _navigation(section: str) -> list[Component]:
    links: list[Component] = [
        dcc.Link(
            page.nav,
            href=page.path,
            className="here" if page.section == section else "",
        )
        for page in PAGES
        if page.nav and page.there() and not door.lacks(role_of(page.layout))[0]
    ]
    # the bench is no page of the framework: its address is loaded whole
    return [*links[:1], html.A("Bench", href="/bench", className=""), *links[1:]]
