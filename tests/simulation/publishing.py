"""Tables of the programs of this folder: as Markdown, and into the page that shows them."""

import argparse
import re
import sys
from pathlib import Path


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


def publish_from_words(doc, tables, marks):
    """Read the words after a program's name, draw its `tables(share)`, and write or show them."""
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--table", type=Path)
    parser.add_argument("--share", type=float, default=1.0)
    given = parser.parse_args()
    publish(tables(given.share), marks, given.table)
