"""Small line drawings as trees of SVG elements, built in the browser element by element.

A tree is plain data: ``(tag, attributes, children)``. It never becomes markup on the way, so no text from a
sheet can turn into a script. `Drawing` is the Dash component that shows a tree (its other half is in
``assets/board.js``); `markup` writes the same tree as text for files and tests.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any, ClassVar, TypeAlias

from dash.development.base_component import Component

Node: TypeAlias = "tuple[str, dict[str, object], list[Node | str]]"


def node(
    tag: str, attributes: Mapping[str, object] | None = None, children: Sequence[Node | str] = ()
) -> Node:
    """Return one element; lengths are rounded to a hundredth of a pixel to keep the page small."""
    tidy = {
        name: round(value, 2) if isinstance(value, float) else value
        for name, value in (attributes or {}).items()
    }
    return tag, tidy, list(children)


def svg(width: float, height: float, children: Sequence[Node], **attributes: str | float) -> Node:
    """Return the outermost element of a drawing of this size [px]."""
    return node(
        "svg",
        {"viewBox": f"0 0 {width:g} {height:g}", "width": width, "height": height, **attributes},
        children,
    )


def markup(tree: Node | str) -> str:
    """Return a tree as SVG text, every value escaped.

    Examples
    --------
    >>> markup(node("text", {"x": 1}, ["a < b"]))
    '<text x="1">a &lt; b</text>'
    """
    if isinstance(tree, str):
        return escape(tree)
    tag, attributes, children = tree
    written = "".join(f' {name}="{escape(str(value))}"' for name, value in attributes.items())
    return f"<{tag}{written}>{''.join(markup(child) for child in children)}</{tag}>"


class Drawing(Component):  # type: ignore[misc]
    """Shows a tree. With `label` it is an image with that name, without one it is decoration."""

    _children_props: ClassVar[list[str]] = []
    _base_nodes: ClassVar[list[str]] = ["children"]
    # Dash looks the namespace up as a package for each component made; one that exists is found at once.
    _namespace = "dashboard"
    _type = "Drawing"

    def __init__(
        self, tree: Node | None = None, label: str = "", className: str = "", **more: Any
    ) -> None:  # `className` is Dash's own spelling
        self._prop_names = ["id", "tree", "label", "className"]
        self._valid_wildcard_attributes: list[str] = []
        self.available_properties = list(self._prop_names)
        self.available_wildcard_properties: list[str] = []
        super().__init__(tree=tree, label=label, className=className, **more)


class Field(Component):  # type: ignore[misc]
    """One ``<input>`` of a form, with a name: what is typed stays in the browser until the form is sent."""

    _children_props: ClassVar[list[str]] = []
    _base_nodes: ClassVar[list[str]] = ["children"]
    _namespace = "dashboard"
    _type = "Field"

    def __init__(self, name: str = "", kind: str = "text", value: str = "", **more: Any) -> None:
        self._prop_names = ["id", "name", "kind", "value", "checked", "disabled", "label", "accept"]
        self._valid_wildcard_attributes: list[str] = []
        self.available_properties = list(self._prop_names)
        self.available_wildcard_properties: list[str] = []
        super().__init__(name=name, kind=kind, value=value, **more)
