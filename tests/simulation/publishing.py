"""Tables of the programs of this folder: as Markdown, and into the page that shows them."""

import re
import sys


def markdown(head, rows):
    """Write a head and its rows as a Markdown table."""
    return "\n".join("| " + " | ".join(line) + " |" for line in [head, ["---"] * len(head), *rows])


def publish(text, marks, page):
    """Write a text between the marks of a page, or show it where there is no page."""
    if page is None:
        sys.stdout.write(text + "\n")
        return
    pattern = rf"(<!-- {marks}: begin -->\n).*?(\n<!-- {marks}: end -->)"
    told = page.read_text(encoding="utf-8")
    page.write_text(re.sub(pattern, lambda m: m[1] + text + m[2], told, flags=re.S), encoding="utf-8")
